"""Addresses of the pages that need what was measured and what it means."""

from django.urls import path

from calcs import views

urlpatterns = [
    path("homes/<uuid:pk>/", views.home, name="home"),
]
