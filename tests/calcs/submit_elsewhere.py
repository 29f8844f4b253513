"""Hands a survey in over the API, in a process of its own: ``python -m tests.calcs.submit_elsewhere SURVEY USER``.

Prints the status of the answer and the seconds it took.
"""

import sys
import time

import django


def main(survey_id: str, username: str) -> None:
    django.setup()
    from django.test import Client

    from jobs.models import User

    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(User.objects.get(username=username))
    client.get("/api/v1/surveys/")  # a first request pays for imports
    started = time.monotonic()
    answer = client.post(f"/api/v1/surveys/{survey_id}/submit/")
    sys.stdout.write(f"{answer.status_code} {time.monotonic() - started:.2f}\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
