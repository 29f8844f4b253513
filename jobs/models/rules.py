"""Rule sets: every limit, allowance and cost that a calculation uses, with its source."""

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs import rulebook
from jobs.models.base import CompanyQuerySet, Keyed


def check_rule_values(values: object) -> None:
    """Refuse a rule that the rule book does not know, or a value outside its range."""
    problems = rulebook.problems_with(values)
    if problems:
        raise ValidationError(problems)


class RuleSet(Keyed):
    """A company's or a state's changes to the rule book. A new version is a new row: old results keep theirs."""

    name = models.CharField(max_length=80)
    version = models.PositiveIntegerField(default=1)
    values = models.JSONField(default=dict, blank=True, validators=[check_rule_values])
    source = models.TextField(blank=True, help_text="who decided these values, and on what ground")
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["name", "version"], name="rule_set_version_once"),
            models.CheckConstraint(condition=~Q(name=""), name="rule_set_has_a_name"),
        ]

    def __str__(self) -> str:
        return f"{self.name}, version {self.version}"  # as files name it: the same in every language

    def resolved(self) -> rulebook.Rules:
        """Return the whole rule book with this set's changes applied."""
        return rulebook.resolve(self.values)
