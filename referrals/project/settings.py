"""Settings: each value from the environment, typed, with a safe local default.

Every name that can be set is listed in README.md ("Settings"); a test keeps the two together.
"""

import os
import secrets
from pathlib import Path

from django.conf.locale import LANG_INFO
from django.core.exceptions import ImproperlyConfigured
from environs import Env

from referrals.project.launch import DEMO_SECRET, OWN_BROKER

env = Env()
env.read_env(str(Path(__file__).resolve().parents[2] / ".env"), override=False)

BASE_DIR = Path(__file__).resolve().parents[2]
DEMO = env.bool("LITTLEROAD_DEMO", False)
DEBUG = env.bool("LITTLEROAD_DEBUG", False)
DATA_DIR = Path(env.str("LITTLEROAD_DATA_DIR", str(BASE_DIR / ".littleroad" / "data")))
DATA_DIR.mkdir(parents=True, exist_ok=True)


def _own_secret() -> str:
    """The secret of this installation, made at the first start and kept beside its data."""
    kept = DATA_DIR / "secret_key"
    try:
        handle = os.open(kept, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        return kept.read_text().strip()
    with os.fdopen(handle, "w") as file:
        file.write(secrets.token_urlsafe(64))
    return kept.read_text().strip()


SECRET_KEY = env.str("LITTLEROAD_SECRET_KEY", "") or _own_secret()
SECRET_KEY_FALLBACKS: list[str] = env.list("LITTLEROAD_OLD_SECRET_KEYS", [])
if SECRET_KEY == DEMO_SECRET and not DEMO:
    raise ImproperlyConfigured(
        "LITTLEROAD_SECRET_KEY is the demo's secret, which everybody knows. "
        "Set another one, or unset it and one is made in LITTLEROAD_DATA_DIR."
    )

# Where people reach the service; links in messages start with it.
BASE_URL = env.str("LITTLEROAD_BASE_URL", "").rstrip("/")
_LOOPBACK = ("http://127.0.0.1", "http://localhost")
HTTPS = not (DEBUG or DEMO or BASE_URL.startswith(_LOOPBACK))
ALLOWED_HOSTS = [*env.list("LITTLEROAD_ALLOWED_HOSTS", []), "127.0.0.1", "localhost"]
CSRF_TRUSTED_ORIGINS = [BASE_URL] if BASE_URL else []

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "axes",
    "csp",
    "phonenumber_field",
    "rest_framework",
    "rest_framework.authtoken",
    "drf_spectacular",
    "referrals",
    "transport",
]
if DEMO:
    INSTALLED_APPS.append("fixtures_demo.phones")

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "referrals.project.urls"
ASGI_APPLICATION = "referrals.project.asgi.application"
WSGI_APPLICATION = "referrals.project.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "referrals.pages.context.shell",
            ],
        },
    },
]

DATABASES = {
    "default": env.dj_db_url(
        "DATABASE_URL", f"sqlite:///{DATA_DIR / 'littleroad.sqlite3'}", conn_max_age=60
    )
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = {
        # A deferred transaction that reads before it writes fails at once under load, without
        # waiting; an immediate one waits its turn. FULL survives a power cut, NORMAL may not.
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
    }
else:
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
    DATABASES["default"].setdefault("OPTIONS", {})["connect_timeout"] = 5

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "referrals.Staff"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign_in"

# A whole district can sit behind one address of the phone company, so a lockout takes the name
# and the address together, and ends by itself.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.1  # hours
AXES_ENABLE_ADMIN = False
AXES_LOCKOUT_TEMPLATE = "referrals/locked_out.html"
# A form whose check fails keeps what was typed.
CSRF_FAILURE_VIEW = "referrals.pages.refusals.csrf_refused"

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_AGE = 12 * 3600
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$", r"^sweepz$"]
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
# With "no-referrer" browsers send "Origin: null" on every form, which the CSRF check must refuse.
SECURE_REFERRER_POLICY = "same-origin"
if env.bool("LITTLEROAD_BEHIND_PROXY", False):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
        "form-action": ["'self'"],
    }
}

# A language is offered once its catalogue stands in referrals/locale; the service itself is
# written in English.
LOCALE_PATHS = [BASE_DIR / "referrals" / "locale"]
_CATALOGUES = sorted(LOCALE_PATHS[0].glob("*/LC_MESSAGES/django.mo"))
LANGUAGES = [
    (code, LANG_INFO.get(code, {}).get("name_local", code))
    for code in ("en", *(path.parts[-3].replace("_", "-").lower() for path in _CATALOGUES))
]
LANGUAGE_CODE = env.str("LITTLEROAD_LANGUAGE", "en").lower()
if LANGUAGE_CODE not in dict(LANGUAGES):
    raise ImproperlyConfigured(
        f"LITTLEROAD_LANGUAGE is {LANGUAGE_CODE}; offered are {', '.join(dict(LANGUAGES))}. "
        "Put its catalogue into referrals/locale first: DEVELOPERS.md, 'A language more'."
    )
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
# Without a collected folder the files are served from where they stand in the packages.
WHITENOISE_USE_FINDERS = True
if not (STATIC_ROOT / "staticfiles.json").exists():
    STORAGES["staticfiles"]["BACKEND"] = "django.contrib.staticfiles.storage.StaticFilesStorage"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "rest_framework.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.LimitOffsetPagination",
    "PAGE_SIZE": 100,
    "EXCEPTION_HANDLER": "referrals.api.errors.as_problem",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Littleroad",
    "DESCRIPTION": "Referral and road transport of a newborn who is being ventilated.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "referrals.api.schema.add_problem_answers",
    ],
}

# The database is the truth; the broker carries nudges only. So a message may be lost, but none
# may hang a request: every wait on the broker is short.
REDIS_URL = env.str("REDIS_URL", "")
CELERY_BROKER_URL = REDIS_URL or OWN_BROKER
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SOFT_TIME_LIMIT, CELERY_TASK_TIME_LIMIT = 45, 60
CELERY_TASK_PUBLISH_RETRY_POLICY = {
    "max_retries": 1,
    "interval_start": 0,
    "interval_step": 0,
    "interval_max": 0,
}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = (
    {
        # More than twice the hard limit; nothing is ever scheduled further ahead than this.
        "visibility_timeout": 180,
        "unacked_restore_interval": 5,
        "unacked_restore_throttle": 1,
        "socket_timeout": 5,
        "socket_connect_timeout": 2,
        "socket_keepalive": True,
    }
    if REDIS_URL
    else {"polling_interval": 0.01}
)
CELERY_TASK_DEFAULT_QUEUE = "alerts"
CELERY_TASK_ROUTES = {"transport.tasks.report_*": {"queue": "reports"}}
CELERY_BEAT_SCHEDULE = {"sweep": {"task": "referrals.tasks.sweep", "schedule": 2.0}}
CELERY_TIMEZONE = "UTC"

# How messages leave. A district's own gateway is described in five values; see README.md.
SMS_GATEWAY = {
    "url": env.str("LITTLEROAD_SMS_URL", ""),
    "method": env.str("LITTLEROAD_SMS_METHOD", "POST"),
    "body": env.str("LITTLEROAD_SMS_BODY", '{"to": "$to", "text": "$text", "id": "$id"}'),
    "authorization": env.str("LITTLEROAD_SMS_AUTHORIZATION", ""),
}
VOICE_GATEWAY = {
    "url": env.str("LITTLEROAD_VOICE_URL", ""),
    "method": env.str("LITTLEROAD_VOICE_METHOD", "POST"),
    "body": env.str("LITTLEROAD_VOICE_BODY", '{"to": "$to", "say": "$text", "id": "$id"}'),
    "authorization": env.str("LITTLEROAD_VOICE_AUTHORIZATION", ""),
}
# How messages come in: the secret that the gateway sends (two while it is being changed), and its
# names for our fields, as "sender=from,text=message". Without a secret nothing comes in.
INBOUND_TOKENS: list[str] = list(filter(None, env.list("LITTLEROAD_INBOUND_TOKEN", [])))
INBOUND_FIELDS: dict[str, str] = env.dict("LITTLEROAD_INBOUND_FIELDS", {})
SEND_TIMEOUT_SECONDS = env.float("LITTLEROAD_SEND_TIMEOUT_SECONDS", 10.0)
_mail = env.dj_email_url("LITTLEROAD_EMAIL_URL", "smtp://localhost:25")
EMAIL_HOST, EMAIL_PORT = _mail["EMAIL_HOST"], _mail["EMAIL_PORT"]
EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = _mail["EMAIL_HOST_USER"], _mail["EMAIL_HOST_PASSWORD"]
EMAIL_USE_TLS, EMAIL_USE_SSL = _mail["EMAIL_USE_TLS"], _mail["EMAIL_USE_SSL"]
EMAIL_TIMEOUT = SEND_TIMEOUT_SECONDS
DEFAULT_FROM_EMAIL = env.str("LITTLEROAD_EMAIL_FROM", "littleroad@localhost")

# The head of every timeline is also written outside the database.
HEADS_FILE = Path(env.str("LITTLEROAD_HEADS_FILE", str(DATA_DIR / "timeline_heads.log")))
SWEEP_SECONDS = env.float("LITTLEROAD_SWEEP_SECONDS", 2.0)
# "real anchor,shown anchor,speed": only the demo has a clock of its own.
DEMO_CLOCK = env.str("LITTLEROAD_CLOCK", "") if DEMO else ""
DEMO_PORT = env.int("LITTLEROAD_DEMO_PORT", 8000)
# The demo's own telephone exchange plays the gateway, over real HTTP.
if DEMO:
    SMS_GATEWAY["url"] = f"http://127.0.0.1:{DEMO_PORT}/demo/gateway/sms/"
    VOICE_GATEWAY["url"] = f"http://127.0.0.1:{DEMO_PORT}/demo/gateway/voice/"
    BASE_URL = f"http://127.0.0.1:{DEMO_PORT}"
    INBOUND_TOKENS = ["demo-exchange-known-to-everybody"]
    INBOUND_FIELDS = {}
    EMAIL_BACKEND = "fixtures_demo.phones.mail.PhoneMail"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"},
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": env.str("LITTLEROAD_LOG_LEVEL", "WARNING")},
}
