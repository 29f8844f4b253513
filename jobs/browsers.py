"""What a browser calls itself, in two words a person knows."""

import re

from django.utils.translation import gettext as _

# In this order: most browsers also claim to be the ones further down.
_BROWSERS = (
    ("Edge", r"\bEdg(e|A|iOS)?/"),
    ("Opera", r"\bOPR/"),
    ("Samsung Internet", r"\bSamsungBrowser/"),
    ("Firefox", r"\b(Firefox|FxiOS)/"),
    ("Chrome", r"\b(HeadlessChrome|Chrome|CriOS)/"),
    ("Safari", r"\bSafari/"),
)
_SYSTEMS = (
    ("Android", r"\bAndroid\b"),
    ("iPhone", r"\biPhone\b"),
    ("iPad", r"\biPad\b"),
    ("Windows", r"\bWindows\b"),
    ("Mac", r"\bMacintosh\b"),
    ("ChromeOS", r"\bCrOS\b"),
    ("Linux", r"\bLinux\b"),
)


def in_words(user_agent: str) -> str:
    """Return such as "Firefox, Android"; "unknown browser" for what names neither."""
    known = [
        next((name for name, pattern in names if re.search(pattern, user_agent)), "")
        for names in (_BROWSERS, _SYSTEMS)
    ]
    return ", ".join(name for name in known if name) or _("unknown browser")
