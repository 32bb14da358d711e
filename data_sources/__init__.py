"""Where facts come in: weather services, files, own thermometers, the journal, the settings."""
