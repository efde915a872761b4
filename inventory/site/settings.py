"""Settings of the site.

Everything a house may change is an environment variable; the defaults run the
demo on a fresh machine: SQLite beside the project, no outside address.
"""

import os
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.core.exceptions import ImproperlyConfigured

from . import logs
from .databases import PATIENCE, copy_for_reports, from_url


def _words(name: str) -> list[str]:
    """A variable that holds words with commas between them."""
    return [word.strip() for word in os.environ.get(name, "").split(",") if word.strip()]


PROJECT = Path(__file__).resolve().parent.parent.parent
DATA = Path(os.environ.get("TIDETALLY_DATA", PROJECT / ".data"))

DEBUG = os.environ.get("TIDETALLY_DEBUG", "") == "1"
SECRET_KEY = os.environ.get("TIDETALLY_SECRET_KEY", "")
if not SECRET_KEY:
    # A key that is made once and kept with the data: no secret in the repository,
    # and sessions survive a restart.
    DATA.mkdir(parents=True, exist_ok=True)
    _key_file = DATA / "secret_key"
    if not _key_file.exists():
        from django.core.management.utils import get_random_secret_key

        _key_file.touch(mode=0o600)
        _key_file.write_text(get_random_secret_key())
    SECRET_KEY = _key_file.read_text()

ALLOWED_HOSTS = os.environ.get("TIDETALLY_HOSTS", "localhost,127.0.0.1,[::1]").split(",")

INSTALLED_APPS = [
    "inventory.site",
    "inventory.db",
    "inventory.people",
    "inventory.names",
    "inventory.book",
    "inventory.permits",
    "inventory.tankside",
    "census.estimators",
    "census.differences",
    "census.population",
    "census.rounds",
    "census.change",
    "census.reports",
    "census.whole_book",
    "census.demo",
    "django_tables2",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "allauth.account",
    "allauth.socialaccount",
    "allauth.socialaccount.providers.openid_connect",
    "allauth.mfa",
    "axes",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
]

MIDDLEWARE = [
    "inventory.site.observing.observe",
    "django.middleware.security.SecurityMiddleware",
    "inventory.site.headers.bounded",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "inventory.site.headers.permissions_policy",
    "inventory.site.replica.ReportsFromReplica",
    "allauth.account.middleware.AccountMiddleware",
    # Last: it turns a lock into its page.
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "inventory.site.urls"
WSGI_APPLICATION = "inventory.site.wsgi.application"

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


def _database() -> dict[str, Any]:
    url = os.environ.get("DATABASE_URL", "")
    if url:
        return from_url(url)
    DATA.mkdir(parents=True, exist_ok=True)
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": os.environ.get("TIDETALLY_SQLITE", DATA / "tidetally.sqlite3"),
        # Seconds. Opening costs more than most requests; inventory.db.kept watches for another file.
        "CONN_MAX_AGE": 600,
        "OPTIONS": {
            # A writer that reads first must hold the write lock from the start:
            # deferred transactions fail with "database is locked" whatever the time-out.
            "transaction_mode": "IMMEDIATE",
            "timeout": PATIENCE,
            # synchronous=FULL: an acknowledged death survives a power cut.
            # recursive_triggers=ON: INSERT OR REPLACE must not slip past the delete trigger.
            "init_command": (
                "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
                "PRAGMA foreign_keys=ON; PRAGMA recursive_triggers=ON;"
            ),
        },
    }


DATABASES = {"default": _database(), **copy_for_reports()}
# Names of taxonomic backbones, one file for each release; unused where the site runs on PostgreSQL.
BACKBONE_FOLDER = DATA / "backbone"
# Papers, scans and pictures, named by the hash of what they hold; never under the static files.
DOCUMENT_FOLDER = DATA / "documents"
# The public half of an age key ("age1..."); the secret half is needed to restore and is kept elsewhere.
BACKUP_KEY = os.environ.get("TIDETALLY_BACKUP_KEY", "")
# Where the house's scheduler puts its backups; the page of the machine looks there.
BACKUP_FOLDER = Path(os.environ.get("TIDETALLY_BACKUPS", DATA / "backups"))
# With it whoever gives it reads /metrics; without one only this machine does.
METRICS_TOKEN = os.environ.get("TIDETALLY_METRICS_TOKEN", "")
# Under which devices reach the site; stands in the QR codes of labels.
ADDRESS = os.environ.get("TIDETALLY_ADDRESS", "http://localhost:8000").rstrip("/")
# In which temperatures are shown; each is kept in the unit in which it was read.
_TEMPERATURE = os.environ.get("TIDETALLY_TEMPERATURE", "C").upper()
if _TEMPERATURE not in {"C", "F"}:
    raise ImproperlyConfigured(f"TIDETALLY_TEMPERATURE is {_TEMPERATURE!r}; expected C or F")
TEMPERATURE_UNIT = f"°{_TEMPERATURE}"
# How GBIF is asked about names, by the background check only; inventory.names.online.manners reads these.
GBIF = {
    "TIDETALLY_GBIF": os.environ.get("TIDETALLY_GBIF", "on"),
    # The Catalogue of Life extended release. GBIF's last own backbone (2023) has the key
    # d7dddbf4-2cf0-4f39-9b2a-bb099caae36c.
    "TIDETALLY_GBIF_CHECKLIST": os.environ.get(
        "TIDETALLY_GBIF_CHECKLIST", "7ddf754f-d193-4cc9-b351-99906754a03b"
    ),
    "TIDETALLY_GBIF_TIMEOUT": os.environ.get("TIDETALLY_GBIF_TIMEOUT", "10"),
    "TIDETALLY_GBIF_TRIES": os.environ.get("TIDETALLY_GBIF_TRIES", "3"),
    "TIDETALLY_GBIF_BETWEEN": os.environ.get("TIDETALLY_GBIF_BETWEEN", "1"),
    "TIDETALLY_GBIF_CACHE_DAYS": os.environ.get("TIDETALLY_GBIF_CACHE_DAYS", "90"),
}
# How alarms reach curator and veterinarian; without a host no e-mail is sent, and the pages say so.
EMAIL_HOST = os.environ.get("TIDETALLY_EMAIL_HOST", "")
EMAIL_PORT = int(os.environ.get("TIDETALLY_EMAIL_PORT", "587"))
EMAIL_HOST_USER = os.environ.get("TIDETALLY_EMAIL_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("TIDETALLY_EMAIL_PASSWORD", "")
EMAIL_USE_TLS = os.environ.get("TIDETALLY_EMAIL_TLS", "1") == "1"
DEFAULT_FROM_EMAIL = os.environ.get("TIDETALLY_EMAIL_FROM", "tidetally@localhost")
EMAIL_TIMEOUT = 20
# A thread beside the requests; without it the command send_alarms carries the post alone.
ALARM_POST_IN_BACKGROUND = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
AUTHENTICATION_BACKENDS = [
    # First: whoever is locked out is not asked for a password.
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
# Five wrong passwords for one name from one address lock that name there for a quarter of an hour.
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_LOCKOUT_CALLABLE = "inventory.people.views.sign_in.locked_out"
AXES_ENABLE_ADMIN = False
AXES_DISABLE_ACCESS_LOG = True
AXES_VERBOSE = False

# Of which roles a second factor is asked; whoever has one is always asked for it.
SECOND_FACTOR_ROLES = _words("TIDETALLY_SECOND_FACTOR")
# A session ends after so many minutes without a request, and after so many hours in all.
SESSION_IDLE_MINUTES = int(os.environ.get("TIDETALLY_SESSION_IDLE_MINUTES", "240"))
SESSION_HOURS = int(os.environ.get("TIDETALLY_SESSION_HOURS", "12"))
# Counters and keepers see the numbers of the places only that they keep or count.
BY_TANK = os.environ.get("TIDETALLY_BY_TANK", "") == "1"

MFA_ADAPTER = "inventory.people.adapters.SecondFactor"
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
MFA_TOTP_TOLERANCE = 1
ACCOUNT_ADAPTER = "inventory.people.adapters.Accounts"
ACCOUNT_EMAIL_VERIFICATION = "none"
SOCIALACCOUNT_ADAPTER = "inventory.people.adapters.SingleSignOn"
SOCIALACCOUNT_EMAIL_AUTHENTICATION = False
SOCIALACCOUNT_LOGIN_ON_GET = False
SOCIALACCOUNT_STORE_TOKENS = False
# Sign-in through the house's identity provider: off until all three are set.
OIDC_URL = os.environ.get("TIDETALLY_OIDC_URL", "").rstrip("/")
OIDC_NAME = os.environ.get("TIDETALLY_OIDC_NAME", "the house's account")
_OIDC_CLIENT = os.environ.get("TIDETALLY_OIDC_CLIENT", "")
_OIDC_SECRET = os.environ.get("TIDETALLY_OIDC_SECRET", "")
OIDC_ENABLED = bool(OIDC_URL and _OIDC_CLIENT and _OIDC_SECRET)
_OIDC_ORIGIN = os.environ.get("TIDETALLY_OIDC_ORIGIN") or "/".join(OIDC_URL.split("/")[:3])
SOCIALACCOUNT_PROVIDERS: dict[str, Any] = {
    "openid_connect": {
        "OAUTH_PKCE_ENABLED": True,
        "APPS": [
            {
                "provider_id": "house",
                "name": OIDC_NAME,
                "client_id": _OIDC_CLIENT,
                "secret": _OIDC_SECRET,
                "settings": {"server_url": OIDC_URL, "fetch_userinfo": True},
            }
        ]
        if OIDC_ENABLED
        else [],
    }
}

LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign_in"

LANGUAGE_CODE = "en-gb"
USE_I18N = True
USE_TZ = True
# Stored in UTC, shown in the house's own zone; a date without a time is a day there.
TIME_ZONE = os.environ.get("TIDETALLY_TIME_ZONE", "UTC")

STATIC_URL = "static/"
STATIC_ROOT = DATA / "static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True

DJANGO_TABLES2_TEMPLATE = "table.html"

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "object-src": ["'none'"],
        "base-uri": ["'self'"],
        # The sign-in's form leads on to the identity provider, where the house has one.
        "form-action": ["'self'", *([_OIDC_ORIGIN] if OIDC_ENABLED else [])],
        "frame-ancestors": ["'none'"],
    }
}

# A house behind TLS sets TIDETALLY_TLS=1; the demo on localhost cannot.
_TLS = os.environ.get("TIDETALLY_TLS", "") == "1"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = _TLS
# Monitors on this machine ask without TLS.
SECURE_REDIRECT_EXEMPT = [r"^health$", r"^ready$", r"^metrics$"]
SECURE_HSTS_SECONDS = 31_536_000 if _TLS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = _TLS
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = SESSION_HOURS * 3600
# The browser tells other sites nothing, and lets none of them hold our window or frame our pages.
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
# A form's text and the number of its fields; files are bounded where they are taken in.
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
DATA_UPLOAD_MAX_NUMBER_FILES = 20

LOGGING = logs.settings_for(os.environ.get("TIDETALLY_LOG", "plain"))
