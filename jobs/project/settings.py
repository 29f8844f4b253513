"""The only settings file: driven by the environment, with defaults that are safe for production."""

import datetime
import sys
from pathlib import Path

import environs

from jobs.project import logs
from jobs.project.enum_names import ENUM_NAMES

BASE_DIR = Path(__file__).resolve().parent.parent.parent

env = environs.Env()
env.read_env(str(BASE_DIR / ".env"), recurse=False)

DEBUG = env.bool("DEBUG", False)
SECRET_KEY = env.str("SECRET_KEY", "")  # required to serve: `check --deploy` and Django itself refuse an empty one
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", ["127.0.0.1", "localhost"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", list[str]())

# Sign-in links without a password exist only in the demo; every other instance refuses them.
DEMO = env.bool("DEMO", False)

# No script, style or picture but the service's own files; nothing inline; in nobody's frame.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        **{name: ["'none'"] for name in ("default-src", "base-uri", "frame-ancestors")},
        **{name: ["'self'"] for name in ("script-src", "style-src", "img-src", "font-src", "connect-src")},
        **{name: ["'self'"] for name in ("form-action", "manifest-src", "worker-src")},
    }
}

# Everything over HTTPS, and browsers told to remember that, unless the instance says it is a local one.
HTTPS = env.bool("HTTPS", True)
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = env.int("HSTS_SECONDS", 365 * 24 * 3600) if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_REFERRER_POLICY = "same-origin"  # secrets in addresses stay here; "no-referrer" would blind the CSRF check
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = LANGUAGE_COOKIE_SECURE = HTTPS
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = LANGUAGE_COOKIE_HTTPONLY = True  # scripts find the token in the form
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = LANGUAGE_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = env.int("SESSION_DAYS", 14) * 24 * 3600
SESSION_ENGINE = "jobs.sessions"
if HTTPS:  # the prefix has browsers refuse such a cookie from another host or over plain HTTP
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-session", "__Host-csrf"
BEHIND_PROXY = env.bool("BEHIND_PROXY", False)
if BEHIND_PROXY:  # only behind a proxy that sets or removes this header itself
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

INSTALLED_APPS = [
    "jobs",
    "surveys",
    "calcs",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "axes",
    "csp",
    "pgtrigger",
    "pghistory",
]

MIDDLEWARE = [
    "jobs.project.logs.RequestIds",
    "jobs.project.health.Probes",  # before hosts and HTTPS are asked for: probes come from next door
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "jobs.project.guards.Guards",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "jobs.project.languages.PersonsLanguage",
    "django.contrib.messages.middleware.MessageMiddleware",
    "jobs.changes.ChangesMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "jobs.project.urls"
WSGI_APPLICATION = "jobs.project.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

DATABASES = {
    "default": env.dj_db_url("DATABASE_URL", "postgresql:///releveling", conn_max_age=60, conn_health_checks=True)
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "jobs.User"
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home-list"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
PASSWORD_RESET_TIMEOUT = 24 * 3600
# Wrong passwords shut a name out from the address they came from; see jobs.lockout.
AXES_FAILURE_LIMIT = env.int("SIGN_IN_FAILURES", 8)
AXES_COOLOFF_TIME = datetime.timedelta(minutes=env.float("SIGN_IN_LOCKOUT_MIN", 15))
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_HANDLER = "jobs.lockout.Handler"
AXES_LOCKOUT_CALLABLE = "jobs.lockout.locked_out"
AXES_CLIENT_IP_CALLABLE = "jobs.addresses.client_address"
AXES_RESET_ON_SUCCESS = AXES_DISABLE_ACCESS_LOG = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = AXES_VERBOSE = False
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "csrfmiddlewaretoken", "next"]

# Links are shown to whoever makes them as well, so an instance without mail, or with mail that fails, loses nothing.
globals().update(env.dj_email_url("EMAIL_URL", "console:" if DEMO else "dummy:"))
EMAIL_TIMEOUT = 5
DEFAULT_FROM_EMAIL = SERVER_EMAIL = env.str("EMAIL_FROM", "releveling@localhost")
MAIL_WAITS_S = env.float("MAIL_WAITS_S", 120.0)  # before it goes out: what is put right by then is told once

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("es", "Español")]
FORMAT_MODULE_PATH = ["jobs.project.formats"]
TIME_ZONE = "UTC"
USE_TZ = True

MEDIA_ROOT = env.str("MEDIA_ROOT", str(BASE_DIR / ".data" / "files"))  # photos; served by views, after their rights
STATIC_URL = "static/"
STATIC_ROOT = env.str("STATIC_ROOT", str(BASE_DIR / "staticfiles"))
# Names with a hash once `collectstatic` has made them; until then files come straight from the apps.
COLLECTED = Path(STATIC_ROOT, "staticfiles.json").exists() or "collectstatic" in sys.argv
WHITENOISE_USE_FINDERS = not COLLECTED
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if COLLECTED
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "jobs.api.authentication.DeviceTokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["jobs.api.permissions.ByRights"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_FILTER_BACKENDS": ["jobs.api.filter_backend.NamedFilters"],
    "DEFAULT_THROTTLE_CLASSES": ["jobs.api.throttling.Requests"],
    "DEFAULT_PAGINATION_CLASS": "jobs.api.pagination.NewestFirst",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "jobs.api.errors.one_shape",
    "NUM_PROXIES": 1 if BEHIND_PROXY else 0,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
# By one device or person; strangers, and those who open links, by address.
REQUESTS_A_MINUTE = {"person": 600, "sync": 120, "upload": 600, "stranger": 30, "link": 240}
REQUESTS_A_MINUTE |= env.dict("REQUESTS_A_MINUTE", {}, subcast_values=int)
SPECTACULAR_SETTINGS = {
    "TITLE": "Releveling job service",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "ENUM_NAME_OVERRIDES": ENUM_NAMES,
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "jobs.api.schema.add_error_responses",
    ],
}

LOGGING = logs.configuration(
    level=env.str("LOG_LEVEL", "WARNING"),
    shape=env.str("LOG_FORMAT", "json", validate=environs.validate.OneOf(["json", "line"])),
)

CELERY_BROKER_URL = env.str("BROKER_URL", "redis://127.0.0.1:6379/0")
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_SERIALIZER = "json"
CELERY_TASK_IGNORE_RESULT = True  # the Calculation row is the result
CELERY_TASK_DEFAULT_QUEUE = env.str("TASK_QUEUE", "celery")  # one for each instance, where several share a broker
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 600
# A dead broker must not hold up a request: publish once, and let the sweeper pick up what was missed.
CELERY_TASK_PUBLISH_RETRY = False
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 3600,  # beyond the hard time limit, or a running task would be handed out twice
    "socket_connect_timeout": 1,
    "socket_timeout": 3,
    "max_retries": 1,
    "interval_start": 0,
    "interval_step": 0.1,
    "interval_max": 0.1,
}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True  # the worker, though, waits for its broker
CELERY_BROKER_CONNECTION_MAX_RETRIES = None
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE = {
    "sweep-calculations": {"task": "calcs.tasks.sweep_calculations", "schedule": env.float("SWEEP_EVERY_S", 30.0)},
    "send-mail": {
        "task": "jobs.tasks.send_mail",
        "schedule": env.float("SEND_MAIL_EVERY_S", 30.0),
        "options": {"expires": 60},  # rounds that nobody could do need not be caught up with
    },
    "clear-expired": {"task": "jobs.tasks.clear_expired", "schedule": 3600.0},
    "start-night": {"task": "calcs.tasks.start_night", "schedule": 300.0},
}
CALCULATION_LEASE_S = env.float("CALCULATION_LEASE_S", 300.0)  # the time limits of a calculation lie within it
CALCULATION_ATTEMPTS = env.int("CALCULATION_ATTEMPTS", 3)
NIGHTLY_HOUR = env.int("NIGHTLY_HOUR", 2)  # where the company works: from then on every home's due day is made anew
NIGHTLY_TASKS = env.int("NIGHTLY_TASKS", 1)  # how many work at it at once
NIGHTLY_SLICE_S = env.float("NIGHTLY_SLICE_S", 10.0)  # then other work comes first
CALCULATION_RESEND_S = env.float("CALCULATION_RESEND_S", 30.0)  # waiting longer, its message may be lost
