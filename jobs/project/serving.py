"""How gunicorn serves outside the demo: ``gunicorn --config python:jobs.project.serving jobs.project.wsgi``."""

import environs

from jobs.project import logs

env = environs.Env()

bind = env.str("BIND", "0.0.0.0:8000")  # the compose file says who reaches it
workers = env.int("WEB_WORKERS", 4)
worker_tmp_dir = env.str("WORKER_TMP_DIR", "/dev/shm")  # noqa: S108 - a disk that stalls must not look like a hang
control_socket_disable = True
timeout = 60
graceful_timeout = 20
max_requests, max_requests_jitter = 20_000, 2_000  # whatever a library may leak goes with its process
limit_request_line, limit_request_fields, limit_request_field_size = 4_094, 60, 8_190

_shape = env.str("LOG_FORMAT", "json")
logconfig_dict = {
    **logs.configuration(level=env.str("LOG_LEVEL", "INFO"), shape=_shape),
    "loggers": {
        "gunicorn.error": {"handlers": [], "level": "INFO", "propagate": True},
        # Its access log quotes addresses whole, secrets of links with them; logs.RequestIds writes one that doesn't.
        "gunicorn.access": {"handlers": [], "level": "CRITICAL", "propagate": False},
    },
}
