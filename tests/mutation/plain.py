"""A pytest plugin: random cases are always the same ones, and none is stored or shrunk."""

import hypothesis

hypothesis.settings.register_profile(
    "mutation",
    deadline=None,
    database=None,
    derandomize=True,
    phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
)
