from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in

from jobs.constraints import SENTENCES


class JobsConfig(AppConfig):
    name = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
    constraint_sentences = SENTENCES

    def ready(self) -> None:
        """Note at every sign-in which browser it is."""
        from jobs.sessions import note_browser  # noqa: PLC0415 - models exist only once the apps are ready

        user_logged_in.connect(note_browser, dispatch_uid="jobs.sessions.note_browser")
