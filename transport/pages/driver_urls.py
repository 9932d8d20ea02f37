"""The driver's pages: by the link of one journey, or signed in."""

from django.urls import path

from transport.pages import driver

urlpatterns = [
    path("drive/", driver.drive, name="drive"),
    path("d/<str:token>/", driver.link, name="driver_link"),
    path("d/<str:token>/state/", driver.state, name="driver_state"),
    path("d/<str:token>/reached/", driver.reached, name="driver_reached"),
    path("d/<str:token>/mistake/", driver.mistake, name="driver_mistake"),
    path("d/<str:token>/meeting/", driver.met, name="driver_met"),
    path("d/<str:token>/stopped/", driver.stopped, name="driver_stopped"),
    path("d/<str:token>/closed/", driver.closed, name="driver_closed"),
    path("d/<str:token>/go-on/", driver.go_on, name="driver_go_on"),
    path("d/<str:token>/undo/", driver.undo, name="driver_undo"),
    path("d/<str:token>/broken/", driver.broken, name="driver_broken"),
    path("d/<str:token>/step/", driver.step, name="driver_step"),
    path("d/<str:token>/told/", driver.told, name="driver_told"),
]
