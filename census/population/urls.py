"""Addresses of the populations."""

from django.urls import path

from . import views

urlpatterns = [
    path("populations", views.populations, name="populations"),
    path("populations/<slug:name>", views.population, name="population"),
    path("populations/<slug:name>.csv", views.population_csv, name="population_csv"),
]
