/* The time that passes. */
#ifndef PACKSPAN_BASE_CLOCK_H
#define PACKSPAN_BASE_CLOCK_H

/* Since some moment in the past, never going back. */
double seconds_now(void);

#endif
