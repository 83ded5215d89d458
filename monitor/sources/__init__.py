"""Where readings come from: serial lines and MQTT. Edge."""
