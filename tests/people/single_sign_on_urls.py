"""The house's addresses and those of single sign-on, which are there only where a provider is set."""

from inventory.people.urls import SINGLE_SIGN_ON
from inventory.site.urls import handler500
from inventory.site.urls import urlpatterns as of_the_house

urlpatterns = [*of_the_house, *SINGLE_SIGN_ON]
__all__ = ["handler500", "urlpatterns"]
