"""Settings of the Django project, all from the environment.

Each variable and its default is listed in DEVELOPERS.md; `manage.py serve` refuses unsafe combinations
(`frontend.serving_safety`) before it opens a port.
"""

import os
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import django_stubs_ext

django_stubs_ext.monkeypatch()

BASE_DIR = Path(__file__).resolve().parent.parent


def flag_from_environment(name: str, *, default: bool) -> bool:
    """Return a yes/no setting; anything but 1, true, yes or on is no."""
    value = os.environ.get(name)
    return default if value is None else value.strip().lower() in {"1", "true", "yes", "on"}


def list_from_environment(name: str, default: str = "") -> list[str]:
    """Return a comma-separated setting as a list without empty items."""
    return [item.strip() for item in os.environ.get(name, default).split(",") if item.strip()]


DATA_DIR = Path(os.environ.get("MAHLSTICK_DATA", BASE_DIR / "var"))
# Known to everybody, hence fit for loopback only.
INSECURE_SECRET_KEY = "insecure-key-for-this-machine-only"  # noqa: S105
SECRET_KEY = os.environ.get("MAHLSTICK_SECRET_KEY", INSECURE_SECRET_KEY)
DEBUG = flag_from_environment("MAHLSTICK_DEBUG", default=False)
PUBLIC_ADDRESS = os.environ.get("MAHLSTICK_ADDRESS", "http://127.0.0.1:8000").rstrip("/")
IS_TLS = PUBLIC_ADDRESS.startswith("https://")
ALLOWED_HOSTS = list_from_environment("MAHLSTICK_HOSTS", "127.0.0.1,localhost,[::1]")
CSRF_TRUSTED_ORIGINS = [PUBLIC_ADDRESS]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "rest_framework",
    "drf_spectacular",
    "pgtrigger",
    "pghistory",
    "procrastinate.contrib.django",
    "imaging",
    "annotations",
    "demo_fixtures",
    "frontend",
]
MIDDLEWARE = [
    "frontend.security_headers.SecurityHeadersMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "frontend.text_compression.TextCompressionMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "frontend.reader_language.ReaderLanguageMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "pghistory.middleware.HistoryMiddleware",
    "frontend.error_responses.ProblemMiddleware",
]
ROOT_URLCONF = "frontend.urls"
WSGI_APPLICATION = "frontend.wsgi.application"
ASGI_APPLICATION = "frontend.asgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "frontend" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "django.template.context_processors.i18n",
            ]
        },
    }
]


def database_from_url(url: str) -> dict[str, Any]:
    """Return Django's database settings for a postgresql:// address; a socket folder may be the query's host."""
    parts = urlsplit(url)
    query = dict(item.split("=", 1) for item in parts.query.split("&") if "=" in item)
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": unquote(parts.path.lstrip("/")) or "postgres",
        "USER": unquote(parts.username or "postgres"),
        "PASSWORD": unquote(parts.password or ""),
        "HOST": unquote(query.pop("host", parts.hostname or "")),
        "PORT": parts.port or "",
        "CONN_MAX_AGE": 60,
        "CONN_HEALTH_CHECKS": True,
        # Queries here take milliseconds; compiling them or starting parallel workers takes longer than they do.
        "OPTIONS": {"options": "-c jit=off -c max_parallel_workers_per_gather=0"}
        | ({"sslmode": query["sslmode"]} if "sslmode" in query else {}),
    }


DATABASES = {"default": database_from_url(os.environ.get("DATABASE_URL", "postgresql://postgres@127.0.0.1/postgres"))}

AUTH_USER_MODEL = "imaging.Person"
AUTHENTICATION_BACKENDS = [
    "django.contrib.auth.backends.ModelBackend",
    "allauth.account.auth_backends.AuthenticationBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_ADAPTER = "frontend.account_adapter.InvitedOnlyAdapter"
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGOUT_REDIRECT_URL = "/"
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes"]
EMAIL_BACKEND = os.environ.get("MAHLSTICK_EMAIL_BACKEND", "django.core.mail.backends.console.EmailBackend")
EMAIL_HOST = os.environ.get("MAHLSTICK_EMAIL_HOST", "localhost")
DEFAULT_FROM_EMAIL = os.environ.get("MAHLSTICK_EMAIL_FROM", "mahlstick@localhost")

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = IS_TLS
SESSION_COOKIE_HTTPONLY = True
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_HSTS_SECONDS = 3600 if IS_TLS else 0
SECURE_PROXY_SSL_HEADER = (
    ("HTTP_X_FORWARDED_PROTO", "https") if flag_from_environment("MAHLSTICK_BEHIND_PROXY", default=False) else None
)
X_FRAME_OPTIONS = "DENY"
# Masters never pass through Django: they go to the upload application (frontend.asgi).
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

# What the queue's workers can run.
PROCRASTINATE_IMPORT_PATHS = ["imaging.services.tasks"]

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("nl", "Nederlands"), ("it", "Italiano"), ("es", "Español"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "frontend" / "locale"]
TIME_ZONE = os.environ.get("MAHLSTICK_TIME_ZONE", "UTC")
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [("viewer", BASE_DIR / "frontend" / "viewer" / "dist")]
WHITENOISE_USE_FINDERS = True
# Vite writes a hash into each file name, so these never change under one address.
WHITENOISE_IMMUTABLE_FILE_TEST = r"^.+-[0-9A-Za-z_-]{8}\.[a-z0-9]+$"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "imaging.api.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": [],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_PAGINATION_CLASS": "imaging.api.pagination.ListPagination",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "frontend.error_responses.problem_from_exception",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Mahlstick",
    "DESCRIPTION": "Technical images of paintings on one frame in millimetres, and what people say about them.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
}

# A declared size above this is refused before the first byte.
MAX_UPLOAD_BYTES = int(os.environ.get("MAHLSTICK_MAX_UPLOAD_BYTES", str(64 * 1024**3)))
# Uploads left alone for this long are removed.
UPLOAD_KEPT_DAYS = int(os.environ.get("MAHLSTICK_UPLOAD_KEPT_DAYS", "14"))
# The worker's child that decodes a file may use this much memory and time.
DECODE_MEMORY_BYTES = int(os.environ.get("MAHLSTICK_DECODE_MEMORY_BYTES", str(3 * 1024**3)))
DECODE_SECONDS = int(os.environ.get("MAHLSTICK_DECODE_SECONDS", str(6 * 3600)))

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": os.environ.get("MAHLSTICK_LOG_LEVEL", "WARNING")},
}
