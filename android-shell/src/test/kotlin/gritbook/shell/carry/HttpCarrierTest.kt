package gritbook.shell.carry

import gritbook.core.Body
import gritbook.core.Header
import gritbook.core.HttpMethod
import gritbook.core.Request
import gritbook.core.TransportException
import java.io.File
import java.net.InetAddress
import java.net.ServerSocket
import java.net.Socket
import java.util.concurrent.LinkedBlockingQueue
import java.util.concurrent.TimeUnit
import kotlin.concurrent.thread
import org.junit.After
import org.junit.Assert.assertArrayEquals
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertThrows
import org.junit.Assert.assertTrue
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.Config

/** What goes over the wire, against a server that only listens and says what it is told. */
@RunWith(RobolectricTestRunner::class)
@Config(sdk = [34])
class HttpCarrierTest {
    private class Heard(val head: String, val body: ByteArray)

    private val server = ServerSocket(0, 5, InetAddress.getByName("127.0.0.1"))
    private val heard = LinkedBlockingQueue<Heard>()
    private val url = "http://127.0.0.1:${server.localPort}"

    @After
    fun close() = server.close()

    private fun answers(answer: String, then: (Socket) -> Unit = { it.close() }) = thread(isDaemon = true) {
        while (true) {
            val socket = runCatching { server.accept() }.getOrNull() ?: return@thread
            val input = socket.getInputStream()
            val head = StringBuilder()
            while (!head.endsWith("\r\n\r\n")) head.append(input.read().toChar())
            val length = Regex("(?i)content-length: (\\d+)").find(head)?.groupValues?.get(1)?.toInt() ?: 0
            heard += Heard(head.toString(), input.readNBytes(length))
            socket.getOutputStream().write(answer.toByteArray())
            socket.getOutputStream().flush()
            then(socket)
        }
    }

    private fun carrier(readMs: Int = 5_000) = HttpCarrier(url, "secret", patience = HttpCarrier.Patience(2_000, readMs))

    @Test
    fun patchThenPostGoesOutWithTheOverrideAndTheToken() {
        answers("HTTP/1.1 204 No Content\r\nUpload-Offset: 7\r\n\r\n")
        val answer = carrier().carry(Request(HttpMethod.PATCH, "/v1/photos/x", listOf(Header("Upload-Offset", "0")), Body.Bytes("1234567".toByteArray())))
        val got = heard.take()
        assertTrue(got.head, got.head.startsWith("POST /v1/photos/x HTTP/1.1\r\n"))
        assertTrue(got.head, "X-HTTP-Method-Override: PATCH" in got.head)
        assertTrue(got.head, "Authorization: Bearer secret" in got.head)
        assertEquals(204.toUShort(), answer.status)
        assertEquals("7", answer.headers.first { it.name == "upload-offset" }.value)
    }

    @Test
    fun partOfAFileThenExactlyThosebytesAreStreamed() {
        answers("HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok")
        val file = File.createTempFile("part", ".bin").apply { writeBytes(ByteArray(300_000) { (it * 31).toByte() }) }
        val answer = carrier().carry(Request(HttpMethod.PUT, "/v1/x", emptyList(), Body.File(file.path, 1_000uL, 250_000uL)))
        assertArrayEquals(file.readBytes().copyOfRange(1_000, 251_000), heard.take().body)
        assertArrayEquals("ok".toByteArray(), answer.body)
    }

    @Test
    fun redirectThenItIsAnAnswerAndNobodyElseIsAsked() {
        answers("HTTP/1.1 302 Found\r\nLocation: $url/elsewhere\r\nContent-Length: 0\r\n\r\n")
        val answer = carrier().carry(Request(HttpMethod.GET, "/v1/entries", emptyList(), Body.Empty))
        assertEquals(302.toUShort(), answer.status)
        heard.take()
        assertEquals(null, heard.poll(300, TimeUnit.MILLISECONDS))
    }

    @Test
    fun errorStatusThenItsBodyComesBack() {
        answers("HTTP/1.1 422 No\r\nContent-Type: application/problem+json\r\nContent-Length: 4\r\n\r\n{\"a\"")
        val answer = carrier().carry(Request(HttpMethod.PUT, "/v1/entries", emptyList(), Body.Bytes(ByteArray(3))))
        assertEquals(422.toUShort(), answer.status)
        assertEquals("{\"a\"", answer.body.decodeToString())
    }

    @Test
    fun nobodyListensThenOffline() {
        server.close()
        assertThrows(TransportException.Offline::class.java) { carrier().carry(Request(HttpMethod.GET, "/v1/entries", emptyList(), Body.Empty)) }
    }

    @Test
    fun answerCutInTheMiddleThenCut() {
        answers("HTTP/1.1 200 OK\r\nContent-Length: 1000\r\n\r\nonly this")
        assertThrows(TransportException.Cut::class.java) { carrier().carry(Request(HttpMethod.GET, "/v1/entries", emptyList(), Body.Empty)) }
    }

    @Test
    fun silenceThenCutAfterThePatience() {
        answers("HTTP/1.1 200 OK\r\n") { }
        assertThrows(TransportException.Cut::class.java) { carrier(readMs = 300).carry(Request(HttpMethod.GET, "/v1/entries", emptyList(), Body.Empty)) }
    }

    @Test
    fun cancelledWhileItWaitsThenCancelled() {
        answers("HTTP/1.1 200 OK\r\n") { }
        val carrier = carrier(readMs = 20_000)
        thread { heard.take(); carrier.cancel() }
        assertThrows(TransportException.Cancelled::class.java) { carrier.carry(Request(HttpMethod.GET, "/v1/entries", emptyList(), Body.Empty)) }
    }

    @Test
    fun addressesThenOnlyEncryptedOnesAndThisDeviceAreAllowed() {
        listOf("https://depot.example", "http://127.0.0.1:8470", "http://localhost:1").forEach { assertTrue(it, HttpCarrier.allowed(it)) }
        listOf("http://depot.example", "ftp://depot.example", "http://127.0.0.1.example", "http://[::1]:1", "depot").forEach { assertFalse(it, HttpCarrier.allowed(it)) }
        assertThrows(TransportException.NotTrusted::class.java) {
            HttpCarrier("http://depot.example", "secret").carry(Request(HttpMethod.GET, "/v1/entries", emptyList(), Body.Empty))
        }
    }
}
