"""Addresses of the pages that bring files in and take files out."""

from django.urls import path

from surveys import views

urlpatterns = [
    path("import/", views.files, name="files"),
    path("import/<slug:name>/", views.import_file, name="import"),
    path("export/<slug:name>/", views.export_file, name="export"),
]
