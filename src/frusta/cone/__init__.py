"""The physics of one cone: geometry, elasticity, structure of order n, air, motor, joint, response, poles.

Arrays and small frozen dataclasses in and out, SI units; knows nothing of files, tables or people.
"""
