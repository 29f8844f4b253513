"""Days of the demo, counted from the one on which it is started, so that its pages have something to show on any."""

import datetime


def ago(days: int, hour: int, minute: int = 0) -> str:
    """Return a time so many days ago, by UTC, as the API takes it."""
    day = datetime.datetime.now(datetime.UTC) - datetime.timedelta(days=days)
    return day.replace(hour=hour, minute=minute, second=0, microsecond=0).isoformat()


def day_ago(days: int) -> str:
    """Return a day so many days ago, by UTC."""
    return ago(days, 0)[:10]
