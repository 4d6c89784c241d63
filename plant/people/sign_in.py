"""When a person was here before: kept with the session as they sign in."""

from __future__ import annotations

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpResponse

LAST_VISIT = "last visit"


class SignIn(LoginView):
    """The sign-in page. The time of the visit before is kept, since signing in writes over it."""

    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        before = form.get_user().last_login
        answer = super().form_valid(form)
        if before:
            self.request.session[LAST_VISIT] = before.isoformat()
        return answer
