"""Addresses of the field page, and of the pages that bring files in and take files out."""

from django.urls import path

from surveys import field, field_who, views

urlpatterns = [
    path("field/", field.page, name="field"),
    path("field/worker.js", field.worker, name="field-worker"),
    path("field/shell.json", field.shell, name="field-shell"),
    path("field/words/es.json", field.words, {"language": "es"}, name="field-words"),
    path("field/who/", field_who.who, name="field-who"),
    path("import/", views.files, name="files"),
    path("import/<slug:name>/", views.import_file, name="import"),
    path("export/<slug:name>/", views.export_file, name="export"),
]
