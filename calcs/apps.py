from importlib import import_module

from django.apps import AppConfig


class CalcsConfig(AppConfig):
    name = "calcs"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Services and signals import models, which exist only now.
        signals, services = import_module("surveys.signals"), import_module("calcs.services")
        signals.survey_submitted.connect(services.when_submitted, dispatch_uid="calcs.when_submitted")
