"""One whole job: from vehicle, equipment and routes to requirements and a priced bill."""
