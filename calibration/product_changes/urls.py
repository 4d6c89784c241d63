from django.urls import path

from calibration.product_changes import views

urlpatterns = [
    path("tanks/<int:pk>/product/", views.change, name="product_change"),
]
