"""Typed documents: one definition gives the JSON, the payload over MQTT, the schema and what a screen takes.

A module an answer: its shapes, and the function that makes its document from what is known. Each command
imports its own; :mod:`curewatch.answers.catalogue` names them all and makes their schemas.
"""
