from django.apps import AppConfig

from surveys.constraints import SENTENCES


class SurveysConfig(AppConfig):
    name = "surveys"
    default_auto_field = "django.db.models.BigAutoField"
    constraint_sentences = SENTENCES
