"""OBD (SAE J1979 / ISO 15031-5): requests and answers of services 01 to 0A as pure functions over a data table."""
