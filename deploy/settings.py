"""Django's settings, read from the environment; deploy/RUNNING.md lists the variables."""

from __future__ import annotations

import secrets
from typing import Any

from csp.constants import NONE, SELF

from deploy import environment as env

MODE = env.choice("SPANBOOK_MODE", "demo", ["demo", "production"])
PRODUCTION = MODE == "production"
BASE_DIR = env.CHECKOUT
DATA = env.data_folder()
SOCKETS = env.socket_folder(DATA)
MEGABYTE = 1024 * 1024

DEBUG = False
SECRET_KEY = env.secret_key(DATA)
if not SECRET_KEY:
    if PRODUCTION:
        raise env.WrongSetting(
            "SPANBOOK_SECRET_KEY", "", "at least 50 characters of chance; or start deploy.run once."
        )
    # A command run before the first start: nothing signed by it has to outlive it.
    SECRET_KEY = secrets.token_urlsafe(48)

HOSTS = env.host_names("SPANBOOK_HOSTS")
if PRODUCTION and not HOSTS:
    raise env.WrongSetting(
        "SPANBOOK_HOSTS",
        "",
        "the host names people type to reach Spanbook, such as book.example.com.",
    )
ALLOWED_HOSTS = [*HOSTS, "localhost", "127.0.0.1", "[::1]"]

INSTALLED_APPS = [
    "deploy",
    "calibration",
    "plant",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "django_tables2",
    "django_filters",
    "axes",
]

MIDDLEWARE = [
    "deploy.middleware.behind_proxy",
    "deploy.middleware.refuse_null_characters",
    "deploy.middleware.refuse_large_bodies",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "deploy.urls"
WSGI_APPLICATION = "deploy.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "deploy" / "templates"],
        "OPTIONS": {
            "loaders": [
                (
                    "django.template.loaders.cached.Loader",
                    ["deploy.loaders.Lean", "deploy.loaders.LeanOfApps"],
                )
            ],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "deploy.context.frame",
            ],
        },
    }
]
DJANGO_TABLES2_TEMPLATE = "spanbook_table.html"

# --- Database -------------------------------------------------------------------------------------
# Without DATABASE_URL the embedded server of this data folder is meant, and the role that may not
# alter history.
_default = f"postgresql://spanbook_app@/spanbook?host={SOCKETS}"
DATABASE = env.database_address("DATABASE_URL", env.text("DATABASE_URL", _default)).for_django()
_statement_seconds = env.whole("SPANBOOK_STATEMENT_SECONDS", 0, lowest=0, highest=3600)
DATABASE["OPTIONS"] |= {  # type: ignore[operator]
    # Prepared statements take a third off the many small queries of a page.
    "server_side_binding": True,
    "prepare_threshold": 5,
    "options": f"-c statement_timeout={_statement_seconds}s",
}
# One connection a process, kept open; asked for a sign of life before each request, so that a
# database that was restarted costs nobody an error page.
DATABASE |= {"CONN_MAX_AGE": 600, "CONN_HEALTH_CHECKS": True}
DATABASES: dict[str, dict[str, Any]] = {"default": DATABASE}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- People and sessions --------------------------------------------------------------------------
AUTH_USER_MODEL = "plant.Person"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("username", "name", "email")},
    },
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = None
SESSION_COOKIE_AGE = 12 * 3600  # a long shift; then sign in again
SESSION_EXPIRE_AT_BROWSER_CLOSE = True  # tablets are shared

# Wrong passwords are counted in the database, so that a restart or an emptied Redis forgets none.
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "locked_out.html"
AXES_HTTP_RESPONSE_CODE = 429
AXES_SENSITIVE_PARAMETERS = ["username", "password"]
AXES_VERBOSE = False

# --- Security headers -----------------------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "font-src": [SELF],
        "img-src": [SELF, "data:"],
        "connect-src": [SELF],
        "worker-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "deploy.views.csrf_failure"
if PRODUCTION:
    # TLS ends at a proxy on this machine or in front of it (deploy/RUNNING.md); it must set these
    # two headers.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = [r"^health/$"]
    SECURE_HSTS_SECONDS = 365 * 24 * 3600
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-session", "__Host-csrf"
    # Other hosts of the plant's domain are not ours to promise anything for.
    SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]

# --- Files ----------------------------------------------------------------------------------------
STATIC_URL = "static/"
STATIC_ROOT = DATA / "static"
MEDIA_ROOT = DATA / "files"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
UPLOAD_LIMIT = 50 * MEGABYTE
"""Bytes of one request's body; deploy.middleware refuses more before reading it."""
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * MEGABYTE
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
FILE_UPLOAD_PERMISSIONS = 0o640

# --- Mail -----------------------------------------------------------------------------------------
EMAIL_HOST = env.text("SPANBOOK_SMTP_HOST")
EMAIL_PORT = env.whole("SPANBOOK_SMTP_PORT", 587, lowest=1, highest=65535)
EMAIL_HOST_USER = env.text("SPANBOOK_SMTP_USER")
EMAIL_HOST_PASSWORD = env.text("SPANBOOK_SMTP_PASSWORD")
_smtp_security = env.choice("SPANBOOK_SMTP_SECURITY", "starttls", ["starttls", "tls", "none"])
EMAIL_USE_TLS, EMAIL_USE_SSL = _smtp_security == "starttls", _smtp_security == "tls"
EMAIL_TIMEOUT = 20
EMAIL_FILE_PATH = env.text("SPANBOOK_MAIL_FOLDER", str(DATA / "mails"))
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend"
    if EMAIL_HOST
    else "django.core.mail.backends.filebased.EmailBackend"
)
DEFAULT_FROM_EMAIL = env.text("SPANBOOK_MAIL_FROM", "Spanbook <spanbook@localhost>")
PUBLIC_URL = env.text(
    "SPANBOOK_URL",
    f"https://{HOSTS[0]}" if PRODUCTION else f"http://127.0.0.1:{env.text('PORT', '8000')}",
)
"""Where mails send their readers."""

# --- Celery ---------------------------------------------------------------------------------------
REDIS = env.redis_address("REDIS_URL", env.text("REDIS_URL", f"unix://{SOCKETS}/redis.sock?db=0"))
CELERY_BROKER_URL = REDIS.broker
CELERY_TASK_IGNORE_RESULT = True
# A task is done when it is done: a worker killed in the middle leaves it in the queue.
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 1800
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 3600,  # must exceed the longest task
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
    "socket_connect_timeout": 5,
}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None
# A page never waits for a queue that is down: its message is only a hint, and the next scan finds
# the work.
CELERY_TASK_PUBLISH_RETRY = False
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_CONCURRENCY = env.whole("SPANBOOK_TASKS_AT_ONCE", 2, lowest=1, highest=64)
# What a tick finds to do stands in the database, so a missed tick costs nothing and old ones are
# dropped.
CELERY_BEAT_SCHEDULE = {
    name: {"task": name, "schedule": seconds, "options": {"expires": seconds}}
    for name, seconds in {
        "calibration.tasks.run_waiting_imports": 30.0,
        "calibration.tasks.scan_reminders": 60.0,
        "calibration.tasks.send_waiting": 60.0,
        "calibration.tasks.look_into_product_changes": 300.0,
        "calibration.tasks.look_at_statuses": 300.0,
        "calibration.tasks.renew_fleet": 60.0,
        "calibration.tasks.renew_fleet_nightly": 86_400.0,
    }.items()
}

# --- Words and time -------------------------------------------------------------------------------
LANGUAGE_CODE = "en-gb"
USE_I18N = True
FORMAT_MODULE_PATH = ["deploy.formats"]
TIME_ZONE = "UTC"
USE_TZ = True

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": "INFO"},
    "loggers": {
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        "django.server": {"handlers": [], "level": "INFO", "propagate": True},
        "axes": {"level": "WARNING"},
        "celery.app.trace": {"level": "WARNING"},
    },
}
