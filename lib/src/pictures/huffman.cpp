// SPDX-License-Identifier: Apache-2.0
#include "pictures/huffman.hpp"

#include <algorithm>
#include <array>
#include <functional>
#include <queue>
#include <utility>

namespace ringwall {
namespace {

constexpr std::size_t most_bits = 15;
using PerLength = std::array<std::uint32_t, most_bits + 1>; ///< how many symbols have so many bits

struct Leaf {
    std::uint64_t count;
    std::size_t symbol;
};

std::vector<Leaf> leaves_of(std::span<const std::uint32_t> counts) {
    std::vector<Leaf> leaves;
    for (std::size_t i = 0; i < counts.size(); ++i)
        if (counts[i] > 0) leaves.push_back({counts[i], i});
    // Often first, so that short words go there; ties by symbol.
    std::stable_sort(leaves.begin(), leaves.end(),
                     [](const Leaf& a, const Leaf& b) { return a.count > b.count; });
    return leaves;
}

/// Huffman's tree: the two rarest nodes are joined until one is left.
PerLength depths(const std::vector<Leaf>& leaves, std::size_t longest) {
    using Node = std::pair<std::uint64_t, std::size_t>; // count, number; parents have higher numbers
    std::priority_queue<Node, std::vector<Node>, std::greater<>> open;
    for (std::size_t i = 0; i < leaves.size(); ++i)
        open.emplace(leaves[i].count, i);
    std::vector<std::size_t> parent(2 * leaves.size() - 1, 0);
    for (std::size_t next = leaves.size(); open.size() > 1; ++next) {
        const Node a = open.top();
        open.pop();
        const Node b = open.top();
        open.pop();
        parent[a.second] = parent[b.second] = next;
        open.emplace(a.first + b.first, next);
    }
    std::vector<std::size_t> depth(parent.size(), 0);
    for (std::size_t i = parent.size() - 1; i-- > 0;)
        depth[i] = depth[parent[i]] + 1;
    PerLength per{};
    for (std::size_t i = 0; i < leaves.size(); ++i)
        ++per[std::min(depth[i], longest)];
    return per;
}

/// Words cut to `longest` bits need room: a shorter word is lengthened by one bit and takes one of them
/// beside it, until Kraft's sum is 1.
void make_room(PerLength& per, std::size_t longest) {
    std::uint64_t sum = 0;
    for (std::size_t bits = 1; bits <= longest; ++bits)
        sum += std::uint64_t{per[bits]} << (longest - bits);
    for (; sum > std::uint64_t{1} << longest; --sum) {
        std::size_t bits = longest - 1;
        while (per[bits] == 0)
            --bits;
        --per[longest];
        --per[bits];
        per[bits + 1] += 2;
    }
}

std::uint16_t turned(unsigned word, int bits) {
    unsigned other = 0;
    for (int i = 0; i < bits; ++i)
        other |= (word >> i & 1U) << (bits - 1 - i);
    return static_cast<std::uint16_t>(other);
}

std::vector<std::uint16_t> words_of(const std::vector<std::uint8_t>& lengths, const PerLength& per) {
    std::array<unsigned, most_bits + 2> next{};
    for (std::size_t bits = 1; bits <= most_bits; ++bits)
        next[bits + 1] = (next[bits] + per[bits]) << 1;
    std::vector<std::uint16_t> words(lengths.size(), 0);
    for (std::size_t i = 0; i < lengths.size(); ++i)
        if (lengths[i] > 0) words[i] = turned(next[lengths[i]]++, lengths[i]);
    return words;
}

} // namespace

HuffmanCode huffman_code(std::span<const std::uint32_t> counts, int longest) {
    HuffmanCode code;
    code.lengths.assign(counts.size(), 0);
    const std::vector<Leaf> leaves = leaves_of(counts);
    PerLength per{};
    if (leaves.size() == 1) per[1] = 1;
    if (leaves.size() > 1) {
        per = depths(leaves, static_cast<std::size_t>(longest));
        make_room(per, static_cast<std::size_t>(longest));
    }
    std::size_t leaf = 0;
    for (std::size_t bits = 1; bits <= most_bits; ++bits)
        for (std::uint32_t k = 0; k < per[bits]; ++k)
            code.lengths[leaves[leaf++].symbol] = static_cast<std::uint8_t>(bits);
    code.words = words_of(code.lengths, per);
    return code;
}

} // namespace ringwall
