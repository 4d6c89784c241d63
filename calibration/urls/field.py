"""In the plant: what tablets ask, and the works that were set aside."""

from django.urls import path

from calibration.views import field, field_shell, set_aside

urlpatterns = [
    path("field/", field_shell.shell, name="field"),
    path("field/sw.js", field_shell.worker, name="field_worker"),
    path("field/who/", field.who, name="field_who"),
    path("field/pack/", field.pack, name="field_pack"),
    path("field/sign/", field.sign, name="field_sign"),
    path("field/works/<uuid:submission>/", field.work, name="field_work"),
    path("field/works/<uuid:submission>/photos/<slug:sha256>/", field.photo, name="field_photo"),
    path("set-aside/", set_aside.work_list, name="set_asides"),
    path("set-aside/<int:pk>/", set_aside.work, name="set_aside"),
]
