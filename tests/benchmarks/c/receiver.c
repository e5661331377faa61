/* Receives numbered frames from TPACKET_V3 rings: what a plain C program reaches here.
 *
 *   receiver PROCESSOR FILTER PAYLOAD_AT (NAMESPACE INTERFACE)...
 *
 * FILTER is an array of struct sock_filter in hexadecimal. Prints "ready"; after the end of its
 * input, when nothing has come for a while: frames received, frames out of sequence, and frames that
 * found a ring full.
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <fcntl.h>
#include <linux/filter.h>
#include <linux/if_ether.h>
#include <linux/if_packet.h>
#include <net/if.h>
#include <poll.h>
#include <sched.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <unistd.h>

enum { BLOCK = 1 << 18, BLOCKS = 64, FRAME = 256, MOST_PORTS = 16, MOST_STREAMS = 64 };
enum { SILENT_TURNS = 4, TURN_MS = 50 };

static unsigned char *rings[MOST_PORTS];
static int next_block[MOST_PORTS];
static struct pollfd waiting[MOST_PORTS + 1];
static uint32_t expected[MOST_STREAMS];
static long received, out_of_sequence;

static void stop_with(const char *words)
{
    perror(words);
    exit(1);
}

static void open_port(int at, char **given, struct sock_fprog *filter)
{
    int namespace = open(given[0], O_RDONLY);
    if (namespace < 0 || setns(namespace, CLONE_NEWNET) != 0)
        stop_with(given[0]);
    close(namespace);
    int packets = socket(AF_PACKET, SOCK_RAW, 0);
    int version = TPACKET_V3, one = 1;
    struct tpacket_req3 shape = {BLOCK, BLOCKS, FRAME, BLOCK / FRAME * BLOCKS, 5, 0, 0};
    if (setsockopt(packets, SOL_SOCKET, SO_ATTACH_FILTER, filter, sizeof *filter) != 0 ||
        setsockopt(packets, SOL_PACKET, PACKET_IGNORE_OUTGOING, &one, sizeof one) != 0 ||
        setsockopt(packets, SOL_PACKET, PACKET_VERSION, &version, sizeof version) != 0 ||
        setsockopt(packets, SOL_PACKET, PACKET_RX_RING, &shape, sizeof shape) != 0)
        stop_with("ring");
    rings[at] = mmap(NULL, (size_t)BLOCK * BLOCKS, PROT_READ | PROT_WRITE, MAP_SHARED, packets, 0);
    struct sockaddr_ll port = {.sll_family = AF_PACKET, .sll_protocol = htons(ETH_P_ALL)};
    port.sll_ifindex = if_nametoindex(given[1]);
    struct packet_mreq everything = {port.sll_ifindex, PACKET_MR_PROMISC, 0, {0}};
    if (bind(packets, (struct sockaddr *)&port, sizeof port) != 0 ||
        setsockopt(packets, SOL_PACKET, PACKET_ADD_MEMBERSHIP, &everything, sizeof everything) != 0)
        stop_with(given[1]);
    waiting[at] = (struct pollfd){packets, POLLIN, 0};
}

static void take(const unsigned char *payload)
{
    uint16_t stream;
    uint32_t number;
    memcpy(&stream, payload + 6, 2);
    memcpy(&number, payload + 8, 4);
    stream = ntohs(stream) % MOST_STREAMS;
    number = ntohl(number);
    out_of_sequence += number != expected[stream];
    expected[stream] = number + 1;
    received++;
}

static int read_blocks(int at, int payload_at)
{
    int blocks = 0;
    for (;; blocks++) {
        unsigned char *block = rings[at] + (size_t)next_block[at] * BLOCK;
        struct tpacket_block_desc *head = (struct tpacket_block_desc *)block;
        if (!(__atomic_load_n(&head->hdr.bh1.block_status, __ATOMIC_ACQUIRE) & TP_STATUS_USER))
            return blocks;
        unsigned char *record = block + head->hdr.bh1.offset_to_first_pkt;
        for (uint32_t left = head->hdr.bh1.num_pkts; left; left--) {
            struct tpacket3_hdr *frame = (struct tpacket3_hdr *)record;
            take(record + frame->tp_mac + payload_at);
            record += frame->tp_next_offset;
        }
        __atomic_store_n(&head->hdr.bh1.block_status, TP_STATUS_KERNEL, __ATOMIC_RELEASE);
        next_block[at] = (next_block[at] + 1) % BLOCKS;
    }
}

int main(int count, char **given)
{
    cpu_set_t processors;
    CPU_ZERO(&processors);
    CPU_SET(atoi(given[1]), &processors);
    sched_setaffinity(0, sizeof processors, &processors);
    static unsigned char code[4096];
    size_t octets = strlen(given[2]) / 2;
    for (size_t at = 0; at < octets; at++)
        sscanf(given[2] + 2 * at, "%2hhx", &code[at]);
    struct sock_fprog filter = {octets / sizeof(struct sock_filter), (struct sock_filter *)code};
    int ports = (count - 4) / 2;
    for (int at = 0; at < ports; at++)
        open_port(at, given + 4 + 2 * at, &filter);
    waiting[ports] = (struct pollfd){STDIN_FILENO, POLLIN, 0};
    puts("ready");
    fflush(stdout);
    int ended = 0, silent = 0;
    while (silent < SILENT_TURNS) {
        poll(waiting, ports + !ended, TURN_MS);
        int blocks = 0;
        for (int at = 0; at < ports; at++)
            blocks += read_blocks(at, atoi(given[3]));
        ended |= !ended && waiting[ports].revents;
        silent = ended && !blocks ? silent + 1 : 0;
    }
    long dropped = 0;
    for (int at = 0; at < ports; at++) {
        struct tpacket_stats_v3 seen;
        socklen_t size = sizeof seen;
        getsockopt(waiting[at].fd, SOL_PACKET, PACKET_STATISTICS, &seen, &size);
        dropped += seen.tp_drops;
    }
    printf("%ld %ld %ld\n", received, out_of_sequence, dropped);
    return 0;
}
