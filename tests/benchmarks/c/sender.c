/* Sends numbered frames as fast as it can with sendmmsg: what a plain C program reaches here.
 *
 *   sender PROCESSOR SECONDS (NAMESPACE INTERFACE FRAME NUMBER_AT SUM_AT)...
 *
 * One group of arguments for each stream: the file of its network namespace, its interface, a frame
 * in hexadecimal with number 0 and time 0, and where its number and its UDP checksum are. The time
 * follows the number. Prints frames sent, frames refused and the nanoseconds that it took.
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <fcntl.h>
#include <linux/if_packet.h>
#include <net/if.h>
#include <sched.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

enum { BATCH = 64, SLOT = 256, MOST_STREAMS = 16 };

struct stream {
    int socket;
    int number_at, sum_at;
    uint32_t next, first_sum;
    unsigned char slots[BATCH][SLOT];
    struct iovec parts[BATCH];
    struct mmsghdr messages[BATCH];
};

static struct stream streams[MOST_STREAMS];

static void stop_with(const char *words)
{
    perror(words);
    exit(1);
}

static int64_t clock_ns(clockid_t clock)
{
    struct timespec now;
    clock_gettime(clock, &now);
    return now.tv_sec * 1000000000LL + now.tv_nsec;
}

static void open_stream(struct stream *stream, char **given)
{
    int namespace = open(given[0], O_RDONLY);
    if (namespace < 0 || setns(namespace, CLONE_NEWNET) != 0)
        stop_with(given[0]);
    close(namespace);
    stream->socket = socket(AF_PACKET, SOCK_RAW, 0);
    struct sockaddr_ll port = {.sll_family = AF_PACKET, .sll_ifindex = if_nametoindex(given[1])};
    if (bind(stream->socket, (struct sockaddr *)&port, sizeof port) != 0)
        stop_with(given[1]);
    size_t octets = strlen(given[2]) / 2;
    stream->number_at = atoi(given[3]);
    stream->sum_at = atoi(given[4]);
    for (int slot = 0; slot < BATCH; slot++) {
        for (size_t at = 0; at < octets; at++)
            sscanf(given[2] + 2 * at, "%2hhx", &stream->slots[slot][at]);
        stream->parts[slot] = (struct iovec){stream->slots[slot], octets};
        stream->messages[slot].msg_hdr.msg_iov = &stream->parts[slot];
        stream->messages[slot].msg_hdr.msg_iovlen = 1;
    }
    uint16_t sum;
    memcpy(&sum, &stream->slots[0][stream->sum_at], 2);
    stream->first_sum = ntohs(sum);
}

static void number(struct stream *stream, int slot, uint64_t now)
{
    unsigned char *frame = stream->slots[slot];
    uint32_t value = stream->next + slot;
    uint64_t sum = stream->first_sum + (1ULL << 33) * 0xffff;
    sum = (sum - value - (now & 0xffffffffffffULL)) % 0xffff;
    uint16_t written = htons(sum ? sum : 0xffff);
    uint32_t wire = htonl(value);
    memcpy(frame + stream->number_at, &wire, 4);
    for (int octet = 0; octet < 6; octet++)
        frame[stream->number_at + 4 + octet] = now >> (40 - 8 * octet);
    memcpy(frame + stream->sum_at, &written, 2);
}

int main(int count, char **given)
{
    cpu_set_t processors;
    CPU_ZERO(&processors);
    CPU_SET(atoi(given[1]), &processors);
    sched_setaffinity(0, sizeof processors, &processors);
    int used = (count - 3) / 5;
    for (int at = 0; at < used; at++)
        open_stream(&streams[at], given + 3 + 5 * at);
    long sent = 0, refused = 0;
    int64_t began = clock_ns(CLOCK_MONOTONIC);
    int64_t end = began + (int64_t)(atof(given[2]) * 1e9);
    while (clock_ns(CLOCK_MONOTONIC) < end)
        for (int at = 0; at < used; at++) {
            struct stream *stream = &streams[at];
            uint64_t now = clock_ns(CLOCK_REALTIME);
            for (int slot = 0; slot < BATCH; slot++)
                number(stream, slot, now);
            int taken = sendmmsg(stream->socket, stream->messages, BATCH, 0);
            if (taken < 0) {
                refused++;
                continue;
            }
            stream->next += taken;
            sent += taken;
        }
    printf("%ld %ld %ld\n", sent, refused, (long)(clock_ns(CLOCK_MONOTONIC) - began));
    return 0;
}
