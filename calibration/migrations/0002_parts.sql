-- Records of before say by their way what they tested; dip checks by what their procedure reads.
ALTER TABLE calibration_calibration DISABLE TRIGGER USER;
ALTER TABLE calibration_procedureversion DISABLE TRIGGER USER;
UPDATE calibration_procedureversion SET
    covers_primary = way NOT IN ('simulated output', 'capacitance substituted'),
    is_check = shape = 'as it stands only';
UPDATE calibration_calibration r SET
    covers_primary = r.way NOT IN ('simulated output', 'capacitance substituted'),
    is_check = coalesce((SELECT v.is_check FROM calibration_procedureversion v
                         WHERE v.id = r.procedure_version_id), false);
ALTER TABLE calibration_procedureversion ENABLE TRIGGER USER;
ALTER TABLE calibration_calibration ENABLE TRIGGER USER;
