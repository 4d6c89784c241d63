from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_safe

from plant.pages.requests import SignedRequest
from plant.people.roles import Role

# The first of a person's roles decides where the day begins.
FIRST_PAGES = [
    (Role.PLANNER, "calibration:due"),
    (Role.TECHNICIAN, "calibration:jobs"),
    (Role.APPROVER, "calibration:records"),
    (Role.AUDITOR, "calibration:ledger"),
    (Role.ADMINISTRATOR, "plant:people"),
]


@require_safe
def home(request: SignedRequest) -> HttpResponse:
    """Send a person to the page where their work waits."""
    for role, page in FIRST_PAGES:
        if role in request.user.roles:
            return redirect(page)
    return redirect("plant:points")
