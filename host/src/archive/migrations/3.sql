-- Version 3: the records that tell of a calibration, found without reading the others.

CREATE INDEX record_calibrated ON record (tester, number) WHERE kind = 'calibrated';
