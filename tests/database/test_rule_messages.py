"""Every rule of the database can say what it refuses: its message is a format, so that a percent
sign stands twice in it.
"""

from __future__ import annotations

import pytest
from django.apps import apps

RULES = [
    pytest.param(rule, id=rule.name)
    for model in apps.get_models()
    if model._meta.app_label in ("plant", "calibration")
    for rule in model._meta.constraints
]


@pytest.mark.parametrize("rule", RULES)
def test_a_rule_can_say_what_it_refuses(rule):
    assert rule.get_violation_error_message().endswith(".")
