from django.urls import path

from calibration.views import product_changes

urlpatterns = [path("tanks/<int:pk>/product/", product_changes.change, name="product_change")]
