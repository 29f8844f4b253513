"""A pair and a strap lie in one siting with their points: held by composite foreign keys."""

from django.db import migrations

FORWARD = """
ALTER TABLE jobs_point ADD CONSTRAINT point_in_siting UNIQUE (id, siting_id);
ALTER TABLE jobs_neighbourpair
  ADD CONSTRAINT pair_a_in_siting FOREIGN KEY (a_id, siting_id) REFERENCES jobs_point (id, siting_id)
    DEFERRABLE INITIALLY DEFERRED,
  ADD CONSTRAINT pair_b_in_siting FOREIGN KEY (b_id, siting_id) REFERENCES jobs_point (id, siting_id)
    DEFERRABLE INITIALLY DEFERRED;
ALTER TABLE jobs_strap
  ADD CONSTRAINT strap_point_in_siting FOREIGN KEY (point_id, siting_id) REFERENCES jobs_point (id, siting_id)
    DEFERRABLE INITIALLY DEFERRED;
"""
BACK = """
ALTER TABLE jobs_strap DROP CONSTRAINT strap_point_in_siting;
ALTER TABLE jobs_neighbourpair DROP CONSTRAINT pair_a_in_siting, DROP CONSTRAINT pair_b_in_siting;
ALTER TABLE jobs_point DROP CONSTRAINT point_in_siting;
"""


class Migration(migrations.Migration):
    dependencies = [("jobs", "0001_initial")]
    operations = [migrations.RunSQL(FORWARD, BACK)]
