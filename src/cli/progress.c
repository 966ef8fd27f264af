#include <signal.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"

static volatile sig_atomic_t stop_asked;

static void ask_to_stop(int signal_number)
{
    stop_asked = 1;
    signal(signal_number, SIG_DFL); /* a second one ends the program at once */
}

static double seconds_now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

void progress_start(struct progress *p, bool quiet, bool open_ended)
{
    struct sigaction action = {.sa_handler = ask_to_stop};
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
    if (signal(SIGHUP, SIG_IGN) != SIG_IGN) /* as nohup has it */
        sigaction(SIGHUP, &action, NULL);
    signal(SIGXFSZ, SIG_IGN); /* a file that gets too large is a failed write */
    p->shown = !quiet && isatty(STDERR_FILENO);
    p->open_ended = open_ended;
    p->printed = 0.0;
    p->started = seconds_now();
}

bool progress_is_due(struct progress *p)
{
    double now = seconds_now();
    if (!p->shown || now - p->printed < 0.2)
        return false;
    p->printed = now;
    return true;
}

bool progress_stop_asked(void)
{
    return stop_asked;
}

bool progress_step(void *user, uint64_t done, uint64_t total)
{
    const struct progress *p = user;
    if (p->shown) {
        double spent = seconds_now() - p->started;
        double rate = (double)done / (spent > 0.0 ? spent : 1e-9);
        if (p->open_ended)
            fprintf(stderr, "\r%.1f million samples  %.2f million samples/s\033[K",
                    1e-6 * (double)done, 1e-6 * rate);
        else
            fprintf(stderr, "\r%5.1f %%  %.2f million samples/s  %.0f s left\033[K",
                    100.0 * (double)done / (double)total, 1e-6 * rate,
                    (double)(total - done) / rate);
    }
    return !stop_asked;
}

void progress_end(struct progress *p)
{
    if (p->shown)
        fprintf(stderr, "\r\033[K");
}
