"""Addresses of the pages that need what was measured and what it means."""

from django.urls import path

from calcs import operations_page, set_aside_page, shared_page, views

urlpatterns = [
    path("homes/<uuid:pk>/", views.home, name="home"),
    path("surveys/<uuid:pk>/", views.survey, name="survey"),
    path("surveys/<uuid:pk>/progress/", views.survey_progress, name="survey-progress"),
    path("surveys/<uuid:pk>/compute/", views.survey_compute, name="survey-compute"),
    path("set-aside/", set_aside_page.set_aside, name="set-aside"),
    path("set-aside/<uuid:entry>/leave-out/", set_aside_page.leave_out_entry, name="leave-out"),
    path("shared/<str:secret>/", shared_page.shared, name="shared"),
    path("shared/<str:secret>/photos/<uuid:pk>/", shared_page.shared_photo, {"size": "whole"}, name="shared-photo"),
    path(
        "shared/<str:secret>/photos/<uuid:pk>/small/",
        shared_page.shared_photo,
        {"size": "small"},
        name="shared-photo-small",
    ),
    path("operations/", operations_page.figures, name="operations"),
]
