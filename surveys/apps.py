from django.apps import AppConfig

from surveys.constraints import SENTENCES


class SurveysConfig(AppConfig):
    name = "surveys"
    default_auto_field = "django.db.models.BigAutoField"
    constraint_sentences = SENTENCES

    def ready(self) -> None:
        """Say what lies under a survey's record, where names stand, and which marks a call-back is to read again."""
        from jobs.call_backs import marks_are_told_by  # noqa: PLC0415 - models exist only once the apps are ready
        from jobs.erasing import names_stand_in  # noqa: PLC0415 - models exist only once the apps are ready
        from jobs.history import lies_under  # noqa: PLC0415 - models exist only once the apps are ready
        from surveys.erasing import erase_names  # noqa: PLC0415 - as above
        from surveys.marks import marks_to_read_again  # noqa: PLC0415 - as above
        from surveys.models import Setup, Survey  # noqa: PLC0415 - as above

        lies_under(Setup, of=Survey, path="survey")
        names_stand_in(erase_names)
        marks_are_told_by(marks_to_read_again)
