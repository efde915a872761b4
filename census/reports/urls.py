"""Addresses of the reports."""

from django.urls import path

from .views import layouts, made

urlpatterns = [
    path("reports", layouts.reports, name="reports"),
    path("reports/made", made.made, name="reports_made"),
    path("reports/saved", made.save, name="report_save"),
    path("reports/saved/<int:pk>/<slug:step>", made.step, name="report_step"),
    path("reports/made/<int:pk>", made.job, name="report_job"),
    path("reports/made/<int:pk>/state", made.job_state, name="report_job_state"),
    path("reports/made/<int:pk>/file", made.job_file, name="report_job_file"),
    path("reports/stock-list/columns", layouts.columns, name="stock_list_columns"),
    path("reports/permits/takes", layouts.permit_takes, name="permit_takes"),
    path("reports/<slug:layout>", layouts.report, name="report"),
    path("reports/<slug:layout>/make", layouts.ask, name="report_ask"),
    path("reports/<slug:layout>.xlsx", layouts.file, name="report_workbook"),
    path("reports/<slug:layout>.csv", layouts.file, name="report_csv"),
    path("reports/<slug:layout>.pdf", layouts.file, name="report_pdf"),
]
