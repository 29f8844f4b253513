from importlib import import_module

from django.apps import AppConfig

from calcs.constraints import SENTENCES


class CalcsConfig(AppConfig):
    name = "calcs"
    default_auto_field = "django.db.models.BigAutoField"
    constraint_sentences = SENTENCES

    def ready(self) -> None:
        """Hear of surveys that are handed in; let records of homes tell of closings, and have names erased there."""
        # Services and signals import models, which exist only now.
        signals, services = import_module("surveys.signals"), import_module("calcs.services")
        signals.survey_submitted.connect(services.when_submitted, dispatch_uid="calcs.when_submitted")

        from calcs.erasing import erase_fitters  # noqa: PLC0415 - models exist only once the apps are ready
        from calcs.models import Closing  # noqa: PLC0415 - as above
        from jobs.erasing import names_stand_in  # noqa: PLC0415 - as above
        from jobs.history import lies_under  # noqa: PLC0415 - as above
        from jobs.models import Home, Siting  # noqa: PLC0415 - as above

        lies_under(Closing, of=Home, path="approval__siting__home")
        lies_under(Closing, of=Siting, path="approval__siting")
        names_stand_in(erase_fitters)
