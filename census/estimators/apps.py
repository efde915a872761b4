from django.apps import AppConfig


class EstimatorsRoom(AppConfig):
    name = "census.estimators"
    label = "estimators"
