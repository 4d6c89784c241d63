from django.urls import path

from calibration.tablet import set_aside, shell, views

urlpatterns = [
    path("field/", shell.shell, name="field"),
    path("field/sw.js", shell.worker, name="field_worker"),
    path("field/who/", views.who, name="field_who"),
    path("field/pack/", views.pack, name="field_pack"),
    path("field/sign/", views.sign, name="field_sign"),
    path("field/works/<uuid:submission>/", views.work, name="field_work"),
    path("field/works/<uuid:submission>/photos/<slug:sha256>/", views.photo, name="field_photo"),
    path("set-aside/", set_aside.work_list, name="set_asides"),
    path("set-aside/<int:pk>/", set_aside.work, name="set_aside"),
]
