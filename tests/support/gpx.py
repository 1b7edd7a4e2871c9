"""A route as GPX text."""

GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<rte><name>Out</name>
<rtept lat="50.0" lon="0.0"><name>Start</name></rtept>
<rtept lat="50.5" lon="0.0"><name>North</name></rtept>
<rtept lat="50.5" lon="0.1"><name>East</name></rtept>
</rte></gpx>"""
