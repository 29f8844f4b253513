"""Addresses of the pages about people and homes."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from jobs import views

urlpatterns = [
    path("", views.home_list, name="home-list"),
    path("sign-in/", views.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(next_page="sign-in"), name="sign-out"),
    path("demo/<str:token>/", views.demo_sign_in, name="demo-sign-in"),
    path("account/", views.account, name="account"),
    path("sitings/<uuid:pk>/layout/", views.layout, name="layout"),
    path("sitings/<uuid:pk>/layout/drawing/", views.layout_drawing, name="layout-drawing"),
    path("sitings/<uuid:pk>/layout/preview/", views.layout_preview, name="layout-preview"),
]
