"""A plan has any number of checks, one a kind: its stacks and straps become two of them."""

from typing import Any

import django.db.models.deletion
from django.db import migrations, models

import jobs.models.base

KINDS = ("stacks", "straps")


def to_checks(apps: Any, schema_editor: Any) -> None:
    """Carry over what plans have."""
    plan_model, check_model = apps.get_model("calcs", "Plan"), apps.get_model("calcs", "PlanCheck")
    for kind in KINDS:
        rows = plan_model.objects.filter(**{f"{kind}__isnull": False}).values_list("pk", f"{kind}_id")
        checks = (check_model(plan_id=plan, kind=kind, calculation_id=row) for plan, row in rows.iterator())
        check_model.objects.bulk_create(checks, batch_size=1000)


def to_fields(apps: Any, schema_editor: Any) -> None:
    """Carry back what the fields can hold."""
    plan_model, check_model = apps.get_model("calcs", "Plan"), apps.get_model("calcs", "PlanCheck")
    for check in check_model.objects.filter(kind__in=KINDS).iterator():
        plan_model.objects.filter(pk=check.plan_id).update(**{check.kind: check.calculation_id})


class Migration(migrations.Migration):
    atomic = False  # rows and columns of one table don't change in one transaction

    dependencies = [("calcs", "0005_queued_by_the_databases_clock")]
    operations = [
        migrations.CreateModel(
            name="PlanCheck",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("kind", models.CharField(max_length=20)),
                (
                    "calculation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="plan_checks",
                        to="calcs.calculation",
                    ),
                ),
                (
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="checks", to="calcs.plan"
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("plan", "kind"), name="plan_check_one_a_kind")],
            },
        ),
        migrations.RunPython(to_checks, to_fields),
        migrations.RemoveField(model_name="plan", name="stacks"),
        migrations.RemoveField(model_name="plan", name="straps"),
    ]
