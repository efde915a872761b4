"""Addresses of the whole book and of the inspection."""

from django.urls import path

from . import views

urlpatterns = [
    path("whole-book", views.whole_book, name="whole_book"),
    path("whole-book/<slug:form>", views.whole_book_file, name="whole_book_file"),
    path("data-dictionary", views.data_dictionary, name="data_dictionary"),
    path("data-dictionary.csv", views.data_dictionary_csv, name="data_dictionary_csv"),
    path("inspection", views.inspection, name="inspection"),
    path("inspection/step", views.inspection_step, name="inspection_step"),
]
