from django.urls import path

from . import views, views_backbone

urlpatterns = [
    path("backbone", views_backbone.backbone, name="backbone"),
    path("backbone/<int:pk>/adopt", views_backbone.backbone_adopt, name="backbone_adopt"),
    path("names", views.names_review, name="names_review"),
    path("names/next", views.name_next, name="name_next"),
    path("names/undo", views.name_undo, name="name_undo"),
    path("names/check", views.check_names, name="check_names"),
    path("names/<int:pk>", views.name_review, name="name_review"),
    path("names/<int:pk>/skip", views.name_skip, name="name_skip"),
    path("names/<int:pk>/reopen", views.name_reopen, name="name_reopen"),
    path("names/<int:pk>/gbif", views.name_gbif, name="name_gbif"),
]
