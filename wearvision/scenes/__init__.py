"""Drawn scenes: photos of invented worn parts with a known truth (optional extra ``scenes``).

``spec`` says what is in a scene, ``chance`` draws one from a number, ``render`` path-traces it,
``phone`` makes a phone photo of the light, ``truth`` writes down the answers and ``score`` compares.
Only ``render`` needs the path tracer.
"""
