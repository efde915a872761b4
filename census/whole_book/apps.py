from django.apps import AppConfig


class WholeBookRoom(AppConfig):
    name = "census.whole_book"
    label = "whole_book"
    default_auto_field = "django.db.models.BigAutoField"
