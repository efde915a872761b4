from django.apps import AppConfig


class PeopleRoom(AppConfig):
    name = "inventory.people"
    label = "people"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from . import sessions

        sessions.watch()
