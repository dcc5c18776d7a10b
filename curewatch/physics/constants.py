"""Constants that equations of several rooms share."""

GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018, exact since the SI of 2019
REFERENCE_TEMPERATURE = 298.15  # K; rates are stated at 25 degC
