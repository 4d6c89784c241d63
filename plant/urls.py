"""Addresses of what stands in the field."""

from django.urls import path

from plant.views import people, places, points, products, tanks, transmitters

app_name = "plant"

urlpatterns = [
    path("register/", points.register, name="points"),
    path("register/export.csv", points.export_csv, name="points_csv"),
    path("register/export.xlsx", points.export_xlsx, name="points_xlsx"),
    path("points/new/", points.new, name="point_new"),
    path("points/<int:pk>/edit/", points.edit, name="point_edit"),
    path("points/<int:pk>/service/", points.service, name="point_service"),
    path("points/<int:pk>/install/", transmitters.install, name="install"),
    path("points/<int:pk>/remove/", transmitters.remove, name="remove"),
    path("tanks/", tanks.tanks, name="tanks"),
    path("tanks/new/", tanks.tank_new, name="tank_new"),
    path("tanks/<int:pk>/", tanks.tank, name="tank"),
    path("tanks/<int:pk>/edit/", tanks.tank_edit, name="tank_edit"),
    path("products/", products.products, name="products"),
    path("products/new/", products.new, name="product_new"),
    path("products/<int:pk>/edit/", products.edit, name="product_edit"),
    path("transmitters/", transmitters.transmitters, name="transmitters"),
    path("transmitters/new/", transmitters.new, name="transmitter_new"),
    path("transmitters/<int:pk>/edit/", transmitters.edit, name="transmitter_edit"),
    path("sites/", places.sites, name="sites"),
    path("sites/new/", places.site_new, name="site_new"),
    path("sites/<int:pk>/edit/", places.site_edit, name="site_edit"),
    path("areas/<int:pk>/edit/", places.area_edit, name="area_edit"),
    path("people/", people.people, name="people"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/<int:pk>/", people.person, name="person"),
    path("people/<int:pk>/appoint/", people.appoint, name="appoint"),
    path("people/<int:pk>/password/", people.password, name="person_password"),
    path("people/<int:pk>/close/", people.close, name="person_close"),
    path("appointments/<int:pk>/end/", people.end_appointment, name="appointment_end"),
]
