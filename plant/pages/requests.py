"""The request as views see it: LoginRequiredMiddleware has seen to it that somebody is signed
in.
"""

from django.http import HttpRequest

from plant.people.models import Person


class SignedRequest(HttpRequest):
    user: Person
