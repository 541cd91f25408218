"""A film of the dial to readings: frames, the dial's marks, registration, the face without its needle, the needle."""
