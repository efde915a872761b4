from django.apps import AppConfig


class BookRoom(AppConfig):
    name = "inventory.book"
    label = "book"
    default_auto_field = "django.db.models.BigAutoField"
