"""Settings, all from the environment: safe for production by default, `MARRAM_MODE=demo` to look around."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from rentals.lib.secret import kept_secret

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

MODES = ("production", "demo", "test")
MODE = env.str("MARRAM_MODE", default="production")
if MODE not in MODES:
    raise ImproperlyConfigured(f"MARRAM_MODE is {MODE!r}; it must be one of {', '.join(MODES)}")
IN_PRODUCTION = MODE == "production"

# All state that is not in a database server lies in this one folder.
DATA_DIR = Path(env.str("MARRAM_DATA", default=str(BASE_DIR / ".marram")))
DATA_DIR.mkdir(parents=True, exist_ok=True)

DEBUG = False
if IN_PRODUCTION:
    SECRET_KEY = env.str("MARRAM_SECRET_KEY", default="")
    if len(SECRET_KEY) < 50:
        raise ImproperlyConfigured(
            "Set MARRAM_SECRET_KEY to at least 50 random characters, or MARRAM_MODE=demo to look around."
        )
    ALLOWED_HOSTS = env.list("MARRAM_ALLOWED_HOSTS", default=[])
    if not ALLOWED_HOSTS:
        raise ImproperlyConfigured("Set MARRAM_ALLOWED_HOSTS to the host names you serve, comma-separated.")
else:
    SECRET_KEY = kept_secret(DATA_DIR / "secret-key")
    ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]", "testserver"]
SECRET_KEY_FALLBACKS = env.list("MARRAM_SECRET_KEY_FALLBACKS", default=[])
CSRF_TRUSTED_ORIGINS = env.list("MARRAM_TRUSTED_ORIGINS", default=[])

INSTALLED_APPS = [
    "rentals.audit",
    "rentals.mail",
    "rentals.stations",
    "rentals.people",
    "rentals.errands",
    "rentals.weather",
    "rentals.fleet",
    "rentals.checklists",
    "rentals.bookings",
    "rentals.lessons",
    "rentals.takings",
    "rentals.rigs",
    "rentals.dayplan",
    "rentals.afloat",
    "rentals.bench",
    "rentals.incidents",
    "rentals.review",
    "rentals.home",
    "rentals.privacy",
    "rentals.desk",
    "api",
    "django_htmx",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "knox",
    "csp",
    "axes",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django_permissions_policy.PermissionsPolicyMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "rentals.people.doors.ActorMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "rentals.urls"
WSGI_APPLICATION = "rentals.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "rentals" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
                "rentals.afloat.doors.watch",
            ],
            "builtins": ["rentals.lib.show", "rentals.lib.menu"],
            "libraries": {"takings": "rentals.takings.doors"},
        },
    }
]


def _database() -> dict[str, Any]:
    """The database from MARRAM_DATABASE_URL; without it, SQLite in the data folder."""
    default = f"sqlite:///{DATA_DIR / 'marram.sqlite3'}"
    database: dict[str, Any] = env.db_url("MARRAM_DATABASE_URL", default=default)
    if database["ENGINE"].endswith("sqlite3"):
        # A deferred transaction that upgrades to writing fails at once under load; an immediate one waits.
        database["OPTIONS"] = {
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
        }
        database["TEST"] = {"NAME": str(DATA_DIR / "test.sqlite3")}
    else:
        database["CONN_MAX_AGE"] = 60
        database["CONN_HEALTH_CHECKS"] = True
    return database


DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "people.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = ["rentals.lib.secret.ModestArgon2", "django.contrib.auth.hashers.PBKDF2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"
# A lock by name alone would let anybody lock a colleague out.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 1
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "people/locked.html"
AXES_VERBOSE = False

# Browsers take Secure cookies over http only from localhost, and a tablet on the beach is not localhost.
SECURE = env.bool("MARRAM_HTTPS", default=IN_PRODUCTION)
SESSION_COOKIE_NAME = "__Host-session" if SECURE else "session"
CSRF_COOKIE_NAME = "__Host-csrf" if SECURE else "csrf"
LANGUAGE_COOKIE_NAME = "__Host-language" if SECURE else "language"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = LANGUAGE_COOKIE_SECURE = SECURE_SSL_REDIRECT = SECURE
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = LANGUAGE_COOKIE_HTTPONLY = True
LANGUAGE_COOKIE_SAMESITE = "Lax"
UNITS_COOKIE_NAME = "__Host-units" if SECURE else "units"
SESSION_COOKIE_AGE = 12 * 60 * 60
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if SECURE else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = SECURE
SECURE_PROXY_SSL_HEADER = (
    ("HTTP_X_FORWARDED_PROTO", "https") if env.bool("MARRAM_BEHIND_PROXY", False) else None
)
# A probe inside asks by http; it gets no page and no cookie.
SECURE_REDIRECT_EXEMPT = [r"^health/"]
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "object-src": [NONE],
        "frame-ancestors": [NONE],
    }
}
PERMISSIONS_POLICY: dict[str, list[str]] = {
    "camera": ["self"],
    "geolocation": [],
    "microphone": [],
    "payment": [],
    "usb": [],
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

# A demo started by night has its day all the same; a real station's clock is never touched.
CLOCK_SHIFT_S = 0 if IN_PRODUCTION else env.int("MARRAM_CLOCK_SHIFT_S", default=0)

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("de", "Deutsch"), ("es", "Español"), ("fr", "Français")]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"
LOCALE_PATHS = [BASE_DIR / "rentals" / "locale"]
FORMAT_MODULE_PATH = ["rentals.lib.formats"]

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "rentals" / "static"]
if IN_PRODUCTION:
    STORAGES = {
        "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
        "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
    }
else:
    # Nothing is collected here, but whitenoise warns when the folder is missing.
    STATIC_ROOT.mkdir(exist_ok=True)
    WHITENOISE_USE_FINDERS = True
    WHITENOISE_AUTOREFRESH = False
WHITENOISE_MAX_AGE = 3600


def _let_it_serve_every_page(headers: dict[str, str], path: str, url: str) -> None:
    """Our script is the service worker too, and lies below the pages that it serves."""
    if Path(path).name.startswith("marram.") and path.endswith(".js"):
        headers["Service-Worker-Allowed"] = "/"


WHITENOISE_ADD_HEADERS_FUNCTION = _let_it_serve_every_page

if "MARRAM_EMAIL_URL" in env.ENVIRON:
    vars().update(env.email_url("MARRAM_EMAIL_URL"))
else:
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = str(DATA_DIR / "mail")
# What signs the reports of a mail service on letters that came back; without it none are taken.
MAIL_REPORTS_SECRET = env.str("MARRAM_MAIL_REPORTS_SECRET", default="")
DEFAULT_FROM_EMAIL = env.str("MARRAM_FROM_EMAIL", default="station@localhost")

# Where riders reach the station: letters carry links that begin so.
PUBLIC_URL = env.str(
    "MARRAM_PUBLIC_URL",
    default=f"https://{ALLOWED_HOSTS[0].lstrip('.*')}" if IN_PRODUCTION else "http://localhost:8000",
).rstrip("/")

# A source's address is typed by a manager; it must not reach into the network that serves us.
FETCH_PRIVATE = env.bool("MARRAM_FETCH_PRIVATE", default=False)
USER_AGENT = env.str("MARRAM_USER_AGENT", default="Marram/0.1 (wind forecast for a windsurf station)")

CELERY_BROKER_URL = env.str("MARRAM_BROKER_URL", default="folder://")
if CELERY_BROKER_URL.startswith("folder"):
    _queue = DATA_DIR / "queue"
    for _folder in (_queue / "messages", _queue / "control"):
        _folder.mkdir(parents=True, exist_ok=True)
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(_queue / "messages"),
        "data_folder_out": str(_queue / "messages"),
        "control_folder": str(_queue / "control"),
        "polling_interval": 0.1,
    }
else:
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "visibility_timeout": 60,
        "unacked_restore_interval": 2,
        "unacked_restore_throttle": 1,
    }
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat-schedule")
# What must happen lies in a table row; a task only says "look now", so a lost one costs one period.
CELERY_BEAT_SCHEDULE = {
    "watch who is overdue": {"task": "afloat.watch", "schedule": 15, "options": {"expires": 60}},
    "send what is in the outbox": {"task": "mail.send", "schedule": 10, "options": {"expires": 60}},
    "post what is to be called": {"task": "mail.call", "schedule": 10, "options": {"expires": 60}},
    "post wear of closed outings": {"task": "bench.post_wear", "schedule": 30, "options": {"expires": 120}},
    "note ages at faults": {"task": "review.note_ages", "schedule": 300, "options": {"expires": 600}},
    "hold back what is past its inspection": {
        "task": "bench.hold_back_overdue",
        "schedule": 600,
        "options": {"expires": 1200},
    },
    "solve day plans that wait": {"task": "dayplan.solve", "schedule": 10, "options": {"expires": 60}},
    "go on with studies of what the shed lacks": {
        "task": "dayplan.study",
        "schedule": 6,
        "options": {"expires": 30},
    },
    "take sheets in": {"task": "fleet.take_shed", "schedule": 20, "options": {"expires": 60}},
    "write long tables": {"task": "takings.give_entries", "schedule": 20, "options": {"expires": 60}},
    "load the demo": {"task": "desk.load_demo", "schedule": 20, "options": {"expires": 60}},
    "remove the demo": {"task": "desk.remove_demo", "schedule": 20, "options": {"expires": 60}},
    "let go of what is old": {"task": "privacy.let_go", "schedule": 86400, "options": {"expires": 3600}},
    "tell people at home": {"task": "home.tell", "schedule": 30, "options": {"expires": 60}},
    "fetch forecasts that are due": {"task": "weather.fetch", "schedule": 20, "options": {"expires": 300}},
}

REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["api.auth.ActorTokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "api.schema.Schema",
    "EXCEPTION_HANDLER": "api.problems.handle",
    "UNAUTHENTICATED_USER": None,
}
SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Marram",
    "DESCRIPTION": "The desk of a windsurf station: bookings, kit, launch and return checks, bench.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": True,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "POSTPROCESSING_HOOKS": ["api.schema.tidy"],
}
REST_KNOX: dict[str, Any] = {
    "TOKEN_TTL": timedelta(days=30),
    "AUTO_REFRESH": False,
    "TOKEN_PREFIX": "marram_",
}

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["console"], "level": env.str("MARRAM_LOG_LEVEL", default="WARNING")},
}
