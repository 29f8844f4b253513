from django.apps import AppConfig

from jobs.constraints import SENTENCES


class JobsConfig(AppConfig):
    name = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
    constraint_sentences = SENTENCES
