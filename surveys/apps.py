from django.apps import AppConfig

from surveys.constraints import SENTENCES


class SurveysConfig(AppConfig):
    name = "surveys"
    default_auto_field = "django.db.models.BigAutoField"
    constraint_sentences = SENTENCES

    def ready(self) -> None:
        """Let a survey's record of changes tell of its setups too, and have names erased in phones' entries."""
        from jobs.erasing import names_stand_in  # noqa: PLC0415 - models exist only once the apps are ready
        from jobs.history import lies_under  # noqa: PLC0415 - models exist only once the apps are ready
        from surveys.erasing import erase_names  # noqa: PLC0415 - as above
        from surveys.models import Setup, Survey  # noqa: PLC0415 - as above

        lies_under(Setup, of=Survey, path="survey")
        names_stand_in(erase_names)
