"""Root of all addresses: admin, the API, and each app's pages."""

from django.contrib import admin
from django.urls import path

urlpatterns = [
    path("admin/", admin.site.urls),
]
