"""Jobs, the calibration form, records, findings, procedures."""

from django.urls import path

from calibration.views import calibrate, findings, fleet, jobs, procedures, records, steps

urlpatterns = [
    path("jobs/", jobs.jobs, name="jobs"),
    path("jobs/<int:pk>/", jobs.job, name="job"),
    path("points/<int:pk>/start/", jobs.start, name="job_new"),
    path("jobs/<int:pk>/calibrate/", calibrate.calibrate, name="calibrate"),
    path("records/", records.record_list, name="records"),
    path("records/<int:pk>/", records.record, name="record"),
    path("records/<int:pk>/approve/", records.approve, name="approve"),
    path("records/<int:pk>/return/", records.send_back, name="return"),
    path("records/<int:pk>/amend/", calibrate.amend, name="amend"),
    path("findings/", findings.finding_list, name="findings"),
    path("findings/<int:pk>/", findings.finding, name="finding"),
    path("findings/<int:pk>/assess/", findings.assess, name="finding_assess"),
    path("findings/<int:pk>/agree/", findings.agree, name="finding_agree"),
    path("steps/", steps.step_list, name="steps"),
    path("steps/<int:pk>/", steps.step, name="step"),
    path("fleet/again/", fleet.again, name="fleet_again"),
    path("procedures/", procedures.procedure_list, name="procedures"),
    path("procedures/<slug:key>/", procedures.procedure, name="procedure"),
    path("procedures/<slug:key>/edit/", procedures.edit, name="procedure_edit"),
    path("procedures/<slug:key>/wording/", procedures.wording, name="wording"),
    path("wordings/<int:pk>/drop/", procedures.wording_drop, name="wording_drop"),
]
