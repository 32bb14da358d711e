"""Pictures for people: plain ink on paper, readable in grey and without colour vision.

Every `plot_*` draws one result on one axes, those given as `ax` or those of a new figure, and returns them;
`units`, "C" or "F", are those it is labelled in. Matplotlib is imported inside. Every chart has a sentence
that says what it shows to somebody who cannot see it.
"""
