"""Every named rule of plant's tables, and a statement that breaks it and no other."""

from __future__ import annotations

from tests.database.rows import copy_of, elsewhere, truncations

_INSTALLATION = "UPDATE plant_installation SET"
_FIRST = "WHERE id = (SELECT min(id) FROM plant_installation)"
_SPARE = "(SELECT id FROM plant_transmitter WHERE serial = 'SPARE')"
_EMPTY_POINT = "(SELECT min(id) FROM plant_measuringpoint WHERE tag = 'LT-101C')"

PLANT_RULES = {
    # people
    "one_appointment_per_person_site_and_role": copy_of("plant_appointment"),
    "appointment_ends_after_it_starts": "UPDATE plant_appointment SET ends_on = starts_on - 1",
    "appointment_role_is_known": "UPDATE plant_appointment SET role = 'guest'",
    # sites, areas, products, tanks
    "crew_hours_not_negative": "UPDATE plant_site SET crew_hours = -1",
    "area_name_unique_in_its_site": copy_of("plant_area"),
    "product_name_unique_in_its_site": copy_of("plant_product"),
    "permittivity_at_least_one": "UPDATE plant_product SET permittivity = 0.99",
    "density_above_zero": "UPDATE plant_product SET density = 0",
    "tank_name_unique_in_its_site": copy_of("plant_tank"),
    "tank_shape_is_known": "UPDATE plant_tank SET shape = 'egg'",
    "tank_has_height_and_capacity": "UPDATE plant_tank SET capacity_m3 = 0",
    "working_levels_in_order": "UPDATE plant_tank SET lowest_level = 2, highest_level = 2",
    "one_strapping_volume_per_height": copy_of("plant_strappingrow"),
    "strapping_row_not_negative": "UPDATE plant_strappingrow SET volume_m3 = -1",
    "product_change_changes_something": copy_of(
        "plant_productchange", product_before_id="product_id", celsius_before="celsius"
    ),
    # measuring points
    "tag_unique_in_its_site": copy_of("plant_measuringpoint"),
    "range_values_differ": "UPDATE plant_measuringpoint SET upper = lower",
    "range_inside_tank_new": copy_of("plant_measuringpoint", tag="'LT-999'", upper="12.5"),
    "range_inside_tank_changed": "UPDATE plant_measuringpoint SET lower = -0.1",
    "range_inside_tank_tank": "UPDATE plant_tank SET inside_height_m = 8",
    "tolerance_above_zero": "UPDATE plant_measuringpoint SET tolerance = 0, adjust_limit = 0",
    "tolerance_downward_above_zero": (
        "UPDATE plant_measuringpoint SET tolerance_down = 0, adjust_limit = 0"
    ),
    "one_sided_tolerance_has_one_limit": (
        "UPDATE plant_measuringpoint SET tolerance_down = 1, tolerance_sides = 'at most'"
    ),
    "adjust_limit_within_tolerance": "UPDATE plant_measuringpoint SET adjust_limit = 1.01",
    "unit_fits_the_quantity": "UPDATE plant_measuringpoint SET unit = 'm3'",
    "volume_tolerance_not_in_mm": (
        "UPDATE plant_measuringpoint SET quantity = 'volume', unit = 'm3', tolerance_unit = 'mm'"
    ),
    "tolerance_in_ma_needs_a_current": (
        "UPDATE plant_measuringpoint SET tolerance_unit = 'mA', signal = '1-5V'"
    ),
    "interval_between_1_and_120_months": "UPDATE plant_measuringpoint SET interval_months = 121",
    "grace_below_half_the_interval": (
        "UPDATE plant_measuringpoint SET interval_months = 1, grace_days = 16"
    ),
    "deferred_beyond_the_due_date": "UPDATE plant_measuringpoint SET deferred_until = due_on",
    "anchor_has_day_and_months_or_neither": "UPDATE plant_measuringpoint SET anchor_on = due_on",
    "out_of_service_has_a_reason": "UPDATE plant_measuringpoint SET out_of_service_on = due_on",
    "one_due_count_a_day": copy_of("plant_duecount"),
    # transmitters and where they were
    "serial_unique_per_maker_and_site": copy_of("plant_transmitter"),
    "principle_is_known": "UPDATE plant_transmitter SET principle = 'sundial'",
    "probe_data_above_zero": "UPDATE plant_transmitter SET probe_length_mm = 0",
    "removed_after_installed": "UPDATE plant_installation SET removed_on = installed_on",
    "one_installation_per_point_at_a_time": copy_of(
        "plant_installation",
        transmitter_id=_SPARE,
        removed_on="installed_on + 1",
    ),
    "one_point_per_transmitter_at_a_time": copy_of(
        "plant_installation",
        point_id=_EMPTY_POINT,
        removed_on="installed_on + 1",
    ),
    # implied by the two above, and so seen only without them
    "one_present_installation_per_point": (
        "ALTER TABLE plant_installation DROP CONSTRAINT one_installation_per_point_at_a_time; "
        + copy_of("plant_installation", transmitter_id=_SPARE)
    ),
    "one_present_point_per_transmitter": (
        "ALTER TABLE plant_installation DROP CONSTRAINT one_point_per_transmitter_at_a_time; "
        + copy_of("plant_installation", point_id=_EMPTY_POINT)
    ),
    # rows of one site point at rows of that site
    "plant_tank_area_id_of_its_site": f"UPDATE plant_tank SET area_id = {elsewhere('plant_area')}",
    "plant_tank_product_id_of_its_site": (
        f"UPDATE plant_tank SET product_id = {elsewhere('plant_product')}"
    ),
    "plant_measuringpoint_tank_id_of_its_site": (
        f"UPDATE plant_measuringpoint SET tank_id = {elsewhere('plant_tank')}"
    ),
    "plant_installation_point_id_of_its_site": (
        f"{_INSTALLATION} point_id = {elsewhere('plant_measuringpoint')} {_FIRST}"
    ),
    "plant_installation_transmitter_id_of_its_site": (
        f"{_INSTALLATION} transmitter_id = {elsewhere('plant_transmitter')} {_FIRST}"
    ),
    "plant_productchange_tank_id_of_its_site": (
        f"UPDATE plant_productchange SET tank_id = {elsewhere('plant_tank')}"
    ),
    "plant_productchange_product_id_of_its_site": (
        f"UPDATE plant_productchange SET product_id = {elsewhere('plant_product')}"
    ),
    # imports, ledger, history
    "nothing_with_problems_is_applied": (
        "UPDATE plant_importbatch SET state = 'checked', problems_found = 1"
    ),
    "applied_import_has_its_time": "UPDATE plant_importbatch SET state = 'applied'",
    "plant_ledgerentry_only_added": "UPDATE plant_ledgerentry SET why = 'another'",
    "plant_rowhistory_only_added": "DELETE FROM plant_rowhistory",
} | truncations(
    "plant_appointment",
    "plant_area",
    "plant_installation",
    "plant_ledgerentry",
    "plant_measuringpoint",
    "plant_person",
    "plant_product",
    "plant_productchange",
    "plant_rowhistory",
    "plant_site",
    "plant_strappingrow",
    "plant_tank",
    "plant_transmitter",
)
