"""Addresses of the population change."""

from django.urls import path

from . import views

urlpatterns = [
    path("change", views.change, name="change"),
    path("change/events", views.change_events, name="change_events"),
    path("change.xlsx", views.change_workbook, name="change_workbook"),
    path("change.csv", views.change_csv, name="change_csv"),
]
