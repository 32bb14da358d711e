"""The science and the rules of flushcast: arrays, frames and records in; results out.

Pure: no files, no network, no clock, no printing. Names are loaded when first used, so
``import phenology`` costs nothing.
"""
