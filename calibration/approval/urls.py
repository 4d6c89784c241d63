from django.urls import path

from calibration.approval import views

urlpatterns = [
    path("records/<int:pk>/approve/", views.approve, name="approve"),
    path("records/<int:pk>/return/", views.send_back, name="return"),
]
