from django.urls import path

from . import views

urlpatterns = [
    path("names/", views.names_review, name="names_review"),
    path("names/check/", views.check_names, name="check_names"),
    path("names/<int:pk>/", views.name_review, name="name_review"),
    path("names/<int:pk>/gbif/", views.name_gbif, name="name_gbif"),
]
