// SPDX-License-Identifier: MIT
#include "core/git/objects.h"
#include "core/git/sorted_ids.h"

#include <QtTest/QtTest>

#include <algorithm>
#include <random>
#include <unordered_set>

using namespace espalier;

class TestOid : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void parse_data();
    void parse();
    void roundTrip();
    void order();
    void wellKnown();
    void amongSorted_data();
    void amongSorted();
};

void TestOid::parse_data()
{
    QTest::addColumn<QString>("text");
    QTest::addColumn<bool>("valid");
    QTest::newRow("lower case") << "4b825dc642cb6eb9a060e54bf8d69288fbee4904" << true;
    QTest::newRow("upper case") << "4B825DC642CB6EB9A060E54BF8D69288FBEE4904" << true;
    QTest::newRow("39 digits") << "4b825dc642cb6eb9a060e54bf8d69288fbee490" << false;
    QTest::newRow("41 digits") << "4b825dc642cb6eb9a060e54bf8d69288fbee49040" << false;
    QTest::newRow("SHA-256") << QString(64, 'a') << false;
    QTest::newRow("not a digit") << "4b825dc642cb6eb9a060e54bf8d69288fbee490g" << false;
    QTest::newRow("a sign") << "-b825dc642cb6eb9a060e54bf8d69288fbee4904" << false;
    QTest::newRow("empty") << "" << false;
}

void TestOid::parse()
{
    QFETCH(QString, text);
    QFETCH(bool, valid);
    const auto id = Oid::parse(text.toStdString());
    QCOMPARE(id.has_value(), valid);
    if (id)
        QCOMPARE(id->hex(), text.toLower().toStdString());
}

void TestOid::roundTrip()
{
    Oid id;
    QVERIFY(id.isZero());
    QCOMPARE(id.hex(), std::string(40, '0'));
    for (std::size_t i = 0; i < 20; ++i)
        id.bytes[i] = static_cast<std::uint8_t>(i * 13 + 7);
    QVERIFY(!id.isZero());
    QCOMPARE(Oid::parse(id.hex()), std::optional(id));
    QCOMPARE(Oid::fromRaw(id.bytes.data()), id);
    QCOMPARE(id.brief(), id.hex().substr(0, 7));
}

void TestOid::order()
{
    // Ids sort as their digits do, which sorted tables on disk rely on.
    const Oid low = *Oid::parse("7f00000000000000000000000000000000000000");
    const Oid high = *Oid::parse("8000000000000000000000000000000000000000");
    QVERIFY(low < high);
    QVERIFY(Oid{} < low);
    const std::unordered_set<Oid> set{low, high, low};
    QCOMPARE(set.size(), std::size_t(2));
}

void TestOid::wellKnown()
{
    QCOMPARE(hashObject(ObjectType::Tree, "").hex(), std::string(emptyTreeHex));
    QCOMPARE(hashObject(ObjectType::Blob, "").hex(), std::string(emptyBlobHex));
}

void TestOid::amongSorted_data()
{
    QTest::addColumn<int>("count");
    QTest::addColumn<int>("spread"); // how many of an id's first four bytes vary
    QTest::newRow("none") << 0 << 4;
    QTest::newRow("one") << 1 << 4;
    QTest::newRow("a few") << 40 << 4;
    QTest::newRow("many, spread evenly") << 60'000 << 4;
    QTest::newRow("many that begin alike") << 5'000 << 1;
    QTest::newRow("many with the same first bytes") << 3'000 << 0;
}

// Every id is found where it is and no other one is, also where they are spread as no hash spreads them.
void TestOid::amongSorted()
{
    QFETCH(int, count);
    QFETCH(int, spread);
    std::mt19937 random(7);
    const auto any = [&] {
        Oid id;
        for (std::size_t i = 0; i < 20; ++i)
            id.bytes[i] = std::uint8_t(i < 4 && int(i) >= spread ? 0x5A : random() & (i < 4 ? 0xFF : 0x3F));
        return id;
    };
    std::vector<Oid> ids;
    for (int i = 0; i < count; ++i)
        ids.push_back(any());
    std::ranges::sort(ids);
    ids.erase(std::ranges::unique(ids).begin(), ids.end());
    std::string fanout, bytes;
    for (unsigned first = 0; first < 256; ++first) {
        const auto upTo =
            std::uint32_t(std::ranges::count_if(ids, [&](const Oid& id) { return id.bytes[0] <= first; }));
        for (const int shift : {24, 16, 8, 0})
            fanout += char(upTo >> shift & 0xFF);
    }
    for (const Oid& id : ids)
        bytes.append(reinterpret_cast<const char*>(id.bytes.data()), 20);
    for (std::size_t i = 0; i < ids.size(); ++i)
        QCOMPARE(findSorted(fanout.data(), bytes.data(), ids[i]), std::optional(std::uint32_t(i)));
    for (int i = 0; i < 2000; ++i)
        if (const Oid other = any(); !std::ranges::binary_search(ids, other))
            QVERIFY(!findSorted(fanout.data(), bytes.data(), other));
    for (const char* edge : {"0000000000000000000000000000000000000000", "ffffffffffffffffffffffffffffffffffffffff"})
        QVERIFY(!findSorted(fanout.data(), bytes.data(), *Oid::parse(edge)));
}

QTEST_GUILESS_MAIN(TestOid)
#include "test_oid.moc"
