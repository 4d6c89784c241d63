from django.urls import path

from plant.people import views

urlpatterns = [
    path("people/", views.people, name="people"),
    path("people/new/", views.person_new, name="person_new"),
    path("people/<int:pk>/", views.person, name="person"),
    path("people/<int:pk>/appoint/", views.appoint, name="appoint"),
    path("people/<int:pk>/password/", views.password, name="person_password"),
    path("people/<int:pk>/close/", views.close, name="person_close"),
    path("appointments/<int:pk>/end/", views.end_appointment, name="appointment_end"),
]
