from django.urls import path

from plant.products import views

urlpatterns = [
    path("products/", views.products, name="products"),
    path("products/new/", views.new, name="product_new"),
    path("products/<int:pk>/edit/", views.edit, name="product_edit"),
]
