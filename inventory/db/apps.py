from django.apps import AppConfig


class DatabaseRoom(AppConfig):
    name = "inventory.db"
    label = "db"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from . import checks  # noqa: F401  (importing it registers the check)
        from .kept import watch_files

        watch_files()
