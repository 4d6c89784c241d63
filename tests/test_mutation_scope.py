"""The modules that mutation tests change are still where their list says."""

from tests.mutation.scope import GROUPS, modules


def test_every_group_of_mutation_tests_has_modules():
    assert set(modules().values()) == set(GROUPS)
