from django.apps import AppConfig


class CalcsConfig(AppConfig):
    name = "calcs"
    default_auto_field = "django.db.models.BigAutoField"
