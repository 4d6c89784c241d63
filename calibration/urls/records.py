"""Jobs, the calibration form, records, findings, procedures."""

from django.urls import path

from calibration.views import (
    calibrate,
    findings,
    fleet,
    jobs,
    procedure_editor,
    procedures,
    records,
    steps,
    wordings,
)

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
    path("procedures/new/", procedure_editor.new, name="procedure_new"),
    path("procedures/delivered/", procedures.delivered, name="procedures_delivered"),
    path("procedures/<slug:key>/", procedures.procedure, name="procedure"),
    path("procedures/<slug:key>/edit/", procedure_editor.edit, name="procedure_edit"),
    path("procedures/<slug:key>/delivered/", procedures.renew, name="procedure_renew"),
    path("procedures/<slug:key>/wording/", wordings.add, name="wording"),
    path("procedures/wordings/<int:pk>/", wordings.change, name="wording_change"),
    path("wordings/<int:pk>/drop/", wordings.drop, name="wording_drop"),
]
