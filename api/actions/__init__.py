"""What people do: every act as a pure function of the kitchen, the request, the person and now."""
