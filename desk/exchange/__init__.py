"""Records for other programs: HL7 FHIR documents, tables, and one patient over time."""
