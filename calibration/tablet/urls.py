from django.urls import path

from calibration.tablet import set_aside_views, shell_views, views

urlpatterns = [
    path("field/", shell_views.shell, name="field"),
    path("field/sw.js", shell_views.worker, name="field_worker"),
    path("field/who/", views.who, name="field_who"),
    path("field/pack/", views.pack, name="field_pack"),
    path("field/sign/", views.sign, name="field_sign"),
    path("field/works/<uuid:submission>/", views.work, name="field_work"),
    path("field/works/<uuid:submission>/photos/<slug:sha256>/", views.photo, name="field_photo"),
    path("set-aside/", set_aside_views.work_list, name="set_asides"),
    path("set-aside/<int:pk>/", set_aside_views.work_page, name="set_aside"),
]
