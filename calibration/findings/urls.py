from django.urls import path

from calibration.findings import views

urlpatterns = [
    path("findings/", views.finding_list, name="findings"),
    path("findings/<int:pk>/", views.finding, name="finding"),
    path("findings/<int:pk>/assess/", views.assess, name="finding_assess"),
    path("findings/<int:pk>/agree/", views.agree, name="finding_agree"),
]
