"""Pictures for people: plain ink on paper, readable in grey and without colour vision.

Every `plot_*` draws one result on one axes and returns it; matplotlib is imported inside. Every chart has a
sentence that says what it shows to somebody who cannot see it.
"""
