"""Addresses of the reports."""

from django.urls import path

from . import views

urlpatterns = [
    path("reports", views.reports, name="reports"),
    path("reports/stock-list/columns", views.columns, name="stock_list_columns"),
    path("reports/<slug:layout>", views.report, name="report"),
    path("reports/<slug:layout>.xlsx", views.workbook, name="report_workbook"),
    path("reports/<slug:layout>.csv", views.comma, name="report_csv"),
    path("reports/<slug:layout>.pdf", views.paper, name="report_pdf"),
]
