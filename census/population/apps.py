from django.apps import AppConfig


class PopulationRoom(AppConfig):
    name = "census.population"
    label = "population"
    default_auto_field = "django.db.models.BigAutoField"
