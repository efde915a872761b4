from django.apps import AppConfig


class DemoRoom(AppConfig):
    name = "census.demo"
    label = "demo"
    default_auto_field = "django.db.models.BigAutoField"
